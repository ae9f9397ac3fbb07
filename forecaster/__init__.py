"""The engine: readings to levels to litres to a burn model to a forecast to advice."""
