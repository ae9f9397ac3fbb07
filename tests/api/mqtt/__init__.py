"""Tests of readings over MQTT, with a broker of their own."""
