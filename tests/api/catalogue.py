# ruff: noqa: E501 - one line of the catalogue is one line here
"""The catalogue of bad input: what may come in at every door, and the tests that show what becomes of it.

A line is a code, what comes in, and names of tests below ``tests/``. In `LINES` stand all of them; that
each test is there, and that no code is used without its line, is held by ``tests/api/test_catalogue.py``.
Codes in names of tests and ids of rows are the same.
"""

from collections.abc import Mapping
from types import MappingProxyType

BAD = "api/routes/test_bad_input.py::"
REFUSED = BAD + "test_bad_reading_is_refused"
TANKS = "api/routes/test_tanks.py::"
NO_TANK = TANKS + "test_bad_tank_is_refused"
TOLD = "api/routes/test_told.py::"
NOT_TOLD = TOLD + "test_what_cannot_be_is_refused_at_its_member"
REST = "api/routes/test_bad_input_elsewhere.py::"
INBOX = "api/mqtt/test_inbox.py::"
BROKER = "api/mqtt/test_subscriber.py::"
TARGETS = "api/notify/test_targets.py::"
HOOKS = "api/notify/test_webhook.py::"
ORDERS = "api/routes/test_orders.py::"
PROTOCOL = "api/routes/test_protocol.py::"
SIGNING_IN = "api/access/test_signing_in.py::"
PASSWORDS = "api/access/test_passwords.py::"
ANOMALIES = "forecaster/test_anomalies.py::"

LINES: Mapping[str, tuple[str, tuple[str, ...]]] = MappingProxyType(
    {
        # ---- A: the shape of a reading
        "A1": ("not a number", (REFUSED,)),
        "A2": ("infinite, or too large for a number", (REFUSED,)),
        "A3": ("the text nan for a number", (REFUSED,)),
        "A4": ("true for a number", (REFUSED, NO_TANK)),
        "A5": ("a number in a text, with spaces or underscores", (REFUSED, NO_TANK)),
        "A6": ("a decimal comma; digits of another script", (REFUSED, NOT_TOLD)),
        "A7": ("nothing, an empty text, or another kind of thing", (REFUSED, NO_TANK, NOT_TOLD)),
        "A8": ("an integer that no database holds", (REFUSED, NO_TANK)),
        "A9": ("an integer of thousands of digits", (REFUSED,)),
        "A10": ("half a character", (REFUSED, NOT_TOLD)),
        "A11": ("NUL in a text", (REFUSED, NOT_TOLD)),
        "A12": ("a member twice", (REFUSED,)),
        "A13": ("a member that nobody knows", (REFUSED, NO_TANK, NOT_TOLD)),
        "A14": ("brackets without end", (REFUSED, BAD + "test_deep_nesting_is_refused_quickly_A14")),
        "A15": ("megabytes", (REFUSED, BAD + "test_too_long_a_body_is_not_read_to_its_end_A15")),
        "A16": ("cut off, empty, or something after the end", (REFUSED,)),
        "A17": ("another encoding than UTF-8, or a broken one", (REFUSED,)),
        "A18": ("another content type", (BAD + "test_other_content_types_are_refused",)),
        "A19": ("a packed body", (BAD + "test_encoded_body_is_refused_A19",)),
        "A20": ("a batch of none, and of too many", (REFUSED,)),
        "A21": ("one bad reading in a batch", (BAD + "test_one_bad_in_a_hundred_A21",)),
        "A22": ("two lengths, or a wrong one", (PROTOCOL + "test_ambiguous_framing_is_refused",)),
        # ---- B: the meaning of a reading
        "B1": ("a time without offset", (REFUSED,)),
        "B2": ("seconds since 1970", (REFUSED,)),
        "B3": ("a day, nought, minus one", (REFUSED,)),
        "B4": ("a leap second", (REFUSED, BAD + "test_time_is_taken_by_its_offset")),
        "B5": ("years and offsets far away", (REFUSED, NOT_TOLD)),
        "B6": ("a time that is still to come", (REFUSED, BAD + "test_six_minutes_ahead_B6")),
        "B7": ("more than a year old", (BAD + "test_time_is_taken_by_its_offset",)),
        "B8": ("an hour that is not there, or twice", (BAD + "test_time_is_taken_by_its_offset",)),
        "B9": ("the same again", (BAD + "test_same_reading_again_B9",)),
        "B10": ("another value for the same time", (BAD + "test_other_value_for_the_same_time_B10",)),
        "B11": ("an ullage of nought, or less", (REFUSED, BAD + "test_impossible_level_is_kept_and_flagged")),
        "B12": ("outside the tank", (REFUSED, BAD + "test_impossible_level_is_kept_and_flagged")),
        "B13": ("the number that a sensor sends for no echo", (BAD + "test_impossible_level_is_kept_and_flagged",)),
        "B14": ("another unit", (BAD + "test_other_unit_is_flagged",)),
        "B15": ("the same value forty times", (BAD + "test_forty_identical_values_are_stored_B15",)),
        "B16": ("a level that rises day by day", (BAD + "test_creeping_rise_is_flagged_B16",)),
        "B17": ("a thousand readings a second", (BAD + "test_a_thousand_a_second_B17",)),
        "B18": ("an unknown or another tank's sensor", (BAD + "test_unknown_sensor_B18",)),
        "B19": ("an impossible temperature", (BAD + "test_impossible_temperature_B19",)),
        "B20": ("petrol", (NO_TANK, BAD + "test_petrol_is_no_heating_oil_B20")),
        # ---- C: messages of a broker
        "C1": ("on another's topic", (BROKER + "test_who_may_not_publish_is_not_heard_c1",)),
        "C2": ("retained, at each connection again", (INBOX + "test_a_retained_message_without_a_time_is_only_counted_c2",)),
        "C3": ("at most once", (BROKER + "test_what_is_published_is_stored",)),
        "C4": ("handed over twice", (INBOX + "test_messages_are_stored_once_c4",)),
        "C5": ("topics with wildcards, NUL, too long, or the broker's own", ("api/routes/test_mappings.py::test_odd_topics_are_refused",)),
        "C6": ("no JSON, or nothing at all", (BROKER + "test_a_poison_message_is_not_handed_over_for_ever_c6",)),
        "C7": ("two with one id", (BROKER + "test_two_with_one_id_are_said_aloud_c7",)),
        "C8": ("kept for long, or the last will of a sensor", (INBOX + "test_a_message_that_was_kept_for_long_is_of_no_known_time", INBOX + "test_a_poison_message_becomes_a_letter_and_stops_nothing")),
        # ---- D: tanks
        "D1": ("no litres, or a lake", (NO_TANK,)),
        "D2": ("other litres than the dimensions say", (NO_TANK, TANKS + "test_a_confirmed_tank_is_stored_D2_D6")),
        "D3": ("centimetres for millimetres", (NO_TANK,)),
        "D4": ("a table that does not rise, or of one row, or of a million", (NO_TANK, TANKS + "test_a_long_strapping_table_is_too_large_D4")),
        "D5": ("heel and safe fill out of order", (NO_TANK,)),
        "D6": ("a sensor inside the tank", (NO_TANK, TANKS + "test_a_confirmed_tank_is_stored_D2_D6")),
        "D7": ("an unknown shape, or none", (NO_TANK,)),
        "D8": ("two sensors at one time", (REST + "test_two_sensors_at_one_time_are_two_readings_D8",)),
        "D9": ("another shape once there are readings", ("api/routes/test_forecasts.py::test_readings_under_an_older_description_are_left_out_D9",)),
        "D10": ("taken away while something is on order", (REST + "test_a_tank_is_not_taken_away_in_passing_D10",)),
        "D11": ("names as programs, or without end", (NO_TANK, TANKS + "test_odd_names_are_stored_as_text_I1")),
        "D12": ("names as formulas", (REST + "test_a_name_like_a_formula_is_none_in_a_table_D12",)),
        "D13": ("places that are none, swapped, or in the sea", (NO_TANK, REST + "test_places_that_are_none_D13")),
        # ---- E: tickets
        "E1": ("no litres, or too many", (NOT_TOLD,)),
        "E2": ("more than the tank has room for", (TOLD + "test_more_than_the_tank_has_room_for_is_asked_about",)),
        "E3": ("gallons", (TOLD + "test_gallons_are_litres_by_their_unit",)),
        "E4": ("at which temperature is not said", (NOT_TOLD, TOLD + "test_a_ticket_is_stored_once")),
        "E5": ("of tomorrow, or of before anything", (NOT_TOLD,)),
        "E6": ("the same ticket again, and with other litres", (TOLD + "test_a_ticket_is_stored_once",)),
        "E7": ("by somebody without a relation to the tank", (TOLD + "test_nobody_elses_tank",)),
        "E8": ("changed afterwards", (REST + "test_a_ticket_is_not_changed_afterwards_E8",)),
        "E9": ("a ticket without a rise", (ANOMALIES + "test_each_fault_gives_its_state_and_its_reasons_and_no_other",)),
        "E10": ("a price that is none", (NOT_TOLD, ORDERS + "test_bad_orders_are_refused")),
        "E11": ("a picture for a ticket", (REST + "test_pictures_are_no_tickets_E11",)),
        # ---- G: times, silences, calendars
        "G1": ("schedules of one's own", (REST + "test_there_are_no_schedules_to_give_G1_G7",)),
        "G2": ("zones that are none", (NO_TANK, REST + "test_zones_that_are_none_G2")),
        "G3": ("hours of quiet", (REST + "test_there_are_no_schedules_to_give_G1_G7",)),
        "G4": ("a level that sets reminders off", (REST + "test_there_are_no_schedules_to_give_G1_G7",)),
        "G5": ("lead times of none, less, or a year", (REST + "test_lead_times_that_cannot_be_G5",)),
        "G6": ("a silence without an end", (ORDERS + "test_a_silence_needs_an_end_within_60_days_G6",)),
        "G7": ("events every second", (REST + "test_there_are_no_schedules_to_give_G1_G7",)),
        "G8": ("ways to be reached without end", (REST + "test_ways_to_be_reached_have_an_end_G8",)),
        "G9": ("line breaks in a calendar", ("api/notify/test_calendar.py::test_whatever_is_typed_stays_in_its_place_G9",)),
        # ---- H: targets
        "H1": ("addresses of the inside", (TARGETS + "test_hostile_targets_are_refused_H1_H2_H5", ORDERS + "test_hostile_ways_are_refused_at_save_H1_H8")),
        "H2": ("the same, spelt otherwise", (TARGETS + "test_hostile_targets_are_refused_H1_H2_H5",)),
        "H3": ("a name that turns to the inside later", (TARGETS + "test_a_name_that_turns_inside_is_refused_at_connect_H3",)),
        "H4": ("sent on elsewhere", (HOOKS + "test_answers_are_understood_P18",)),
        "H5": ("other schemes, passwords, ports", (TARGETS + "test_hostile_targets_are_refused_H1_H2_H5",)),
        "H6": ("a receiver that never ends, or never begins", (HOOKS + "test_endless_and_silent_receivers_are_cut_off_H6",)),
        "H7": ("ourselves", (REST + "test_a_hook_to_ourselves_changes_nothing_H7",)),
        "H8": ("mail addresses with more in them", ("api/notify/test_mail.py::test_only_one_plain_address_is_taken_H8",)),
        "H9": ("a stranger's mail address", (ORDERS + "test_mail_is_used_once_it_is_confirmed_H9",)),
        "H10": ("links opened by programs, twice, or late", (ORDERS + "test_a_request_to_confirm_is_good_for_a_week_and_once_H10", "api/pages/test_orders.py::test_opening_the_address_of_a_request_confirms_nothing_H10_I16")),
        # ---- I: forms, accounts, protocol
        "I1": ("programs of other languages in a text", (TANKS + "test_odd_names_are_stored_as_text_I1",)),
        "I2": ("markup in a text", ("api/pages/test_orders.py::test_what_was_typed_is_shown_harmless", "api/notify/test_mail.py::test_what_people_typed_stays_text")),
        "I3": ("forms of other sites", (SIGNING_IN + "test_another_sites_page_changes_nothing_I3",)),
        "I4": ("passwords that are none", (PASSWORDS + "test_blanks_and_what_is_endless_are_refused_I4",)),
        "I5": ("an unknown address at sign-in", (SIGNING_IN + "test_known_or_not_the_refusal_is_the_same_I5",)),
        "I6": ("a hundred requests for a new password", (REST + "test_nobody_asks_for_a_new_password_from_outside_I6",)),
        "I7": ("a cookie whose session has ended", (SIGNING_IN + "test_a_session_that_ended_is_out_I7", SIGNING_IN + "test_a_new_password_signs_every_other_browser_out")),
        "I8": ("a button pressed twice; two people at once", ("api/usecases/test_orders.py::test_two_people_at_once_I8", "api/usecases/test_orders.py::test_a_double_click_orders_once_I8")),
        "I9": ("ids that are none", (PROTOCOL + "test_other_ids_are_not_found",)),
        "I10": ("limits that are none", (PROTOCOL + "test_unknown_parameters_are_refused_I10",)),
        "I11": ("sorting and filters slipped in", (PROTOCOL + "test_unknown_parameters_are_refused_I11",)),
        "I12": ("a place in a list that was altered", (REST + "test_lists_have_no_places_to_alter_I12",)),
        "I13": ("languages and forms that are none, a thousand cookies", (REST + "test_odd_headers_I13",)),
        "I14": ("other hosts, and headers of a proxy", (PROTOCOL + "test_other_hosts_are_refused_I14", PROTOCOL + "test_forwarded_headers_are_ignored_I14")),
        "I15": ("keys against sending twice", (REST + "test_keys_against_sending_twice_change_nothing_I15",)),
        "I16": ("links opened by mail scanners", ("api/pages/test_orders.py::test_opening_the_address_of_a_request_confirms_nothing_H10_I16",)),
        "I17": ("unknown paths and methods", (PROTOCOL + "test_unknown_path_or_method",)),
    }
)  # fmt: skip
"""By code: what comes in, and the tests that show what becomes of it."""
