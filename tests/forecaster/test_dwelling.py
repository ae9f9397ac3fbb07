"""The survey, and what it says about the burn."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.dwelling import (
    BOILERS,
    Solar,
    Stove,
    Survey,
    Window,
    burn_prior,
    gains_utilisation_factor,
    heat_loss_w_per_k,
    heating_by_month,
    hot_water_kwh_per_day,
    occupants_from_floor_area,
    parse_survey,
    read_survey,
    water_heating_efficiency,
)
from forecaster.errors import Problem, SurveyError
from forecaster.fuel import GAS_OIL, KEROSENE
from forecaster.tables import read_table

WHOLE = """
latitude = 52.7
longitude = -1.9
timezone = "Europe/London"
elevation_m = 120
floor_area_m2 = 140
built = 1935
occupants = 3
boiler = "condensing"
boiler_kw = 26
hot_water = "oil"
range_cooker_kw = 8.5
vulnerable = true
[stove]
rated_kw = 6
evenings_per_week = 4
hours = 5
[solar]
window_m2 = 9
window_azimuth = 200
thermal_m2 = 4
pv_kwp = 3.5
pv_tilt = 40
pv_azimuth = 170
diverter = true
"""


def _problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(SurveyError) as refused:
        parse_survey(text)
    return refused.value.problems


# ---- parsing


def test_whole_survey() -> None:
    """Every answer of a whole survey arrives, in its place."""
    survey = parse_survey(WHOLE.encode())
    assert survey == Survey(
        latitude=52.7,
        longitude=-1.9,
        timezone="Europe/London",
        elevation_m=120.0,
        floor_area_m2=140.0,
        built=1935,
        occupants=3.0,
        boiler="condensing",
        boiler_kw=26.0,
        hot_water="oil",
        range_cooker_kw=8.5,
        stove=Stove(6.0, 4.0, 5.0),
        solar=Solar(9.0, 200.0, 4.0, 3.5, 40.0, 170.0, True),
        vulnerable=True,
    )


def test_empty_survey() -> None:
    """Nothing said is a survey too: everything unknown."""
    assert parse_survey("") == Survey()


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ("ocupants = 3", "ocupants", "did you mean occupants?"),
        ("[stove]\nkw = 5", "kw in [stove]", "leave it out"),
        ("rated_kw = 5", "rated_kw", "did you mean rated_kw in [stove]?"),
        ("[solar]\noccupants = 3", "occupants in [solar]", "did you mean occupants?"),
        ("xylophone = 1", "xylophone", "not known here"),
        ("stove = 5", "stove", "[stove]"),
        ("[occupants]\nn = 2", "occupants", "give the number of people"),
    ],
)
def test_unknown_key_names_the_nearest(text: str, field: str, words: str) -> None:
    """A key that is not known is refused with the key that was probably meant."""
    (problem,) = _problems(text)
    assert problem.field == field
    assert words in problem.mend


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("latitude = 91\nlongitude = 5", "latitude"),
        ("latitude = 50\nlongitude = -181", "longitude"),
        ("longitude = 3", "latitude"),
        ("floor_area_m2 = 0", "floor_area_m2"),
        ("floor_area_m2 = nan", "floor_area_m2"),
        ("heat_loss_w_per_k = inf", "heat_loss_w_per_k"),
        ("heat_loss_w_per_k = '200'", "heat_loss_w_per_k"),
        ("occupants = true", "occupants"),
        ("occupants = -1", "occupants"),
        (f"occupants = 1{'0' * 1000}", "occupants"),
        ("built = 1970.5", "built"),
        ("built = 70", "built"),
        ("boiler_efficiency = 84", "boiler_efficiency"),
        ("boiler = 'steam engine'", "boiler"),
        ("boiler = 3", "boiler"),
        ("timezone = 'Mars/Olympus'", "timezone"),
        ("timezone = '../../etc/passwd'", "timezone"),
        ("place = ''", "place"),
        (f"place = '{'x' * 81}'", "place"),
        ("hot_water = 'sometimes'", "hot_water"),
        ("hot_water_oil_months = [0, 1]", "hot_water_oil_months"),
        ("hot_water_oil_months = 'winter'", "hot_water_oil_months"),
        ("hot_water_oil_months = [true]", "hot_water_oil_months"),
        ("heating_off_months = [13]", "heating_off_months"),
        ("heating_off_months = [1,2,3,4,5,6,7,8,9,10,11,12]", "heating_off_months"),
        ("heating_months = []", "heating_months"),
        ("heating_months = [1]\nheating_off_months = [7]", "heating_months"),
        ("vulnerable = 'yes'", "vulnerable"),
        ("[stove]\nevenings_per_week = 8", "evenings_per_week in [stove]"),
        ("[solar]\npv_tilt = 100", "pv_tilt in [solar]"),
        ("[solar]\ndiverter = 1", "diverter in [solar]"),
        ("[solar]\nwindows = 3", "windows in [solar]"),
        ("[solar]\nwindows = []", "windows in [solar]"),
        ("[[solar.windows]]\nazimuth = 90", "area_m2 of window 1"),
        ("[[solar.windows]]\narea_m2 = 0", "area_m2 of window 1"),
        ("[[solar.windows]]\narea_m2 = 2\nazimut = 90", "azimut of window 1"),
        ("[[solar.windows]]\narea_m2 = 2\n[[solar.windows]]\narea_m2 = true", "area_m2 of window 2"),
        ("[[solar.windows]]\narea_m2 = 2\ntilt = 40\noverhang_m = 1", "overhang_m of window 1"),
        ("[solar]\nwindow_m2 = 3\n[[solar.windows]]\narea_m2 = 2", "windows in [solar]"),
        ("[[solar.windows]]\narea_m2 = 2\n" * 13, "windows in [solar]"),
    ],
)
def test_bad_answer_is_refused_with_its_field(text: str, field: str) -> None:
    """An answer of the wrong kind or out of range is one problem, and names its key."""
    (problem,) = _problems(text)
    assert problem.field == field
    assert problem.mend


def test_efficiency_as_percent_is_told_how() -> None:
    """Eighty-four for a fraction gets the mend with 0.84 in it."""
    assert "0.84" in _problems("boiler_efficiency = 84")[0].mend


def test_all_problems_at_once() -> None:
    """One look tells all that is wrong."""
    problems = _problems("latitude = 95\nocupants = 3\n[stove]\nhours = 30\n")
    assert {p.field for p in problems} == {"latitude", "ocupants", "hours in [stove]"}


@pytest.mark.parametrize(("latitude", "longitude"), [(-6.26, 53.35), (-1.9, 52.7), (10.0, 53.6)])
def test_swapped_coordinates_are_refused(latitude: float, longitude: float) -> None:
    """Dublin, Lichfield and Hamburg with latitude and longitude swapped are refused, saying so."""
    (problem,) = _problems(f"latitude = {latitude}\nlongitude = {longitude}")
    assert problem.code == "swapped"


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(53.35, -6.26), (53.6, 10.0), (59.0, 41.0), (44.3, -69.8), (-42.9, 147.3)]
)
def test_right_coordinates_pass(latitude: float, longitude: float) -> None:
    """Ireland, Germany, Russia, Maine and Tasmania are no swaps."""
    survey = parse_survey(f"latitude = {latitude}\nlongitude = {longitude}")
    assert (survey.latitude, survey.longitude) == (latitude, longitude)


def test_zero_zero_is_not_a_home() -> None:
    """Latitude and longitude 0 are taken as not known, with a note."""
    survey = parse_survey("latitude = 0\nlongitude = 0")
    assert survey.latitude is None
    assert survey.longitude is None
    assert "both 0" in survey.notes[0]


@pytest.mark.parametrize("text", ["occupants 3", "a = [", "= 1", "occupants = 3\noccupants = 4"])
def test_no_toml_is_refused(text: str) -> None:
    """Text that is no TOML is one problem with an example in its mend."""
    (problem,) = _problems(text)
    assert problem.code == "not_toml"
    assert "occupants = 3" in problem.mend


def test_deeply_nested_toml_is_refused() -> None:
    """A file made to exhaust the parser is refused like any other that is no survey."""
    with pytest.raises(SurveyError):
        parse_survey(f"a = {'[' * 5000}{']' * 5000}")


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever the text, it is a survey or a SurveyError, never another error."""
    try:
        outcome: object = parse_survey(text)
    except SurveyError as refused:
        outcome = refused.problems
    assert outcome


@given(
    st.dictionaries(
        st.sampled_from(
            ["latitude", "occupants", "stove", "boiler", "hot_water_oil_months", "vulnerable", "xyz"]
        ),
        st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.lists(st.integers())),
    )
)
def test_any_mapping_is_read_or_refused(values: dict[str, object]) -> None:
    """Whatever a form holds, it is a survey or a SurveyError, never another error."""
    try:
        outcome: object = read_survey(values)
    except SurveyError as refused:
        outcome = refused.problems
    assert outcome


def test_season_without_months_assumes_and_says_so() -> None:
    """Hot water by season without months takes the heating season and notes it."""
    survey = parse_survey('hot_water = "by season"')
    assert survey.hot_water == "season"
    assert survey.hot_water_oil_months == (10, 11, 12, 1, 2, 3, 4)
    assert "assumed" in survey.notes[0]


def test_months_alone_mean_season() -> None:
    """Months given without a word for it mean hot water by season."""
    survey = parse_survey("hot_water_oil_months = [2, 1, 2]")
    assert (survey.hot_water, survey.hot_water_oil_months) == ("season", (1, 2))


# ---- the pieces


@given(area=st.floats(20.0, 1000.0), year=st.integers(1000, 2100), later=st.integers(1, 200))
def test_newer_and_smaller_houses_lose_less(area: float, year: int, later: int) -> None:
    """A newer house never loses more, a larger one always does."""
    loss = heat_loss_w_per_k(floor_area_m2=area, built=year)
    assert heat_loss_w_per_k(floor_area_m2=area, built=year + later) <= loss
    assert heat_loss_w_per_k(floor_area_m2=1.1 * area, built=year) > loss


@given(area=st.floats(10.0, 2000.0), more=st.floats(1.0, 500.0))
def test_more_floor_never_means_fewer_people(area: float, more: float) -> None:
    """The usual household grows with the floor area."""
    assert occupants_from_floor_area(area + more) >= occupants_from_floor_area(area) >= 1.0


@given(space=st.floats(0.0, 1e5, allow_subnormal=False), water=st.floats(0.0, 1e5, allow_subnormal=False))
def test_mixed_efficiency_lies_between_the_seasons(space: float, water: float) -> None:
    """Heating water beside rooms is at least as good as in summer, at most as good as in winter."""
    mixed = float(water_heating_efficiency(space, water, winter=0.84, summer=0.72))
    assert 0.72 - 1e-12 <= mixed <= 0.84 + 1e-12


@given(gain=st.floats(0.0, 1e6), loss=st.floats(-1e4, 1e5), hours=st.floats(0.0, 500.0))
def test_useful_gains_never_exceed_gains_or_losses(gain: float, loss: float, hours: float) -> None:
    """The useful share is 0 to 1, and useful gains never exceed the loss they replace."""
    share = float(gains_utilisation_factor(gain, loss_w=loss, time_constant_h=hours))
    assert 0.0 <= share <= 1.0
    if loss > 0:
        assert share * gain <= loss * (1.0 + 1e-6)


def test_utilisation_is_smooth_where_gain_equals_loss() -> None:
    """Close to the ratio of one the factor nears a/(a + 1) from both sides."""
    a = 1.0 + 30.0 / 15.0
    near = gains_utilisation_factor([1 - 1e-9, 1.0, 1 + 1e-9], loss_w=1.0, time_constant_h=30.0)
    assert near == pytest.approx(a / (a + 1.0), abs=1e-8)


def test_every_table_row_names_its_source() -> None:
    """No packaged row of ours stands without a source."""
    for name in ("boilers", "hot_water_months", "age_bands", "stoves"):
        assert all(row["source"].strip() for row in read_table(name)), name


def test_age_bands_leave_no_gap() -> None:
    """Each band of years starts where the last one ended."""
    bands = read_table("age_bands")
    ends = [int(band["to_year"]) for band in bands[:-1]]
    assert [int(band["from_year"]) for band in bands[1:]] == [end + 1 for end in ends]


def test_summer_is_never_better_than_winter() -> None:
    """Every published boiler is worse in summer, when it heats water only."""
    assert all(b.summer_efficiency < b.winter_efficiency < 1.0 for b in BOILERS.values())


# ---- the prior


def test_prior_by_hand() -> None:
    """A surveyed house has the slope and the hot water that a pocket calculator gives.

    Slope 0.63·24·200/1000/(0.84·10.294). A July without heating: 0.96 times SAP's draw for two,
    86 l·0.9·30.4 K·4.18/3600 with 15 % lost on the way and 2.3 kWh standing, over 0.72·10.294.
    """
    survey = Survey(occupants=2, heat_loss_w_per_k=200.0, boiler="condensing", hot_water="oil")
    prior = burn_prior(survey, KEROSENE)
    gross = KEROSENE.gross_kwh_per_l
    assert prior.slope_l_per_kday == pytest.approx(0.63 * 4.8 / (0.84 * gross), rel=1e-12)
    july = 0.96 * (86 * 0.9 * 30.4 * 4.18 / 3600 * 1.15 + 2.3) / (0.72 * gross)
    assert prior.base_l_per_day * prior.hot_water_l_per_day[6] == pytest.approx(july, rel=1e-6)
    assert prior.base_rel_sd == pytest.approx(0.35)


def test_profile_has_mean_one() -> None:
    """Over a year the monthly profile neither adds to the base load nor takes from it."""
    prior = burn_prior(Survey(occupants=4, hot_water="season", hot_water_oil_months=(11, 12, 1)), KEROSENE)
    days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    assert np.average(prior.hot_water_l_per_day, weights=days) == pytest.approx(1.0)
    assert prior.hot_water_l_per_day[5] == 0.0


def test_less_known_is_wider() -> None:
    """Each answer that is missing widens the spread of the slope."""
    known = (
        Survey(heat_loss_w_per_k=250.0, boiler="condensing"),
        Survey(heat_loss_w_per_k=250.0),
        Survey(floor_area_m2=120.0, built=1970),
        Survey(floor_area_m2=120.0),
        Survey(),
    )
    spreads = [burn_prior(survey, KEROSENE).slope_rel_sd for survey in known]
    assert spreads == sorted(spreads)
    assert len(set(spreads)) == len(spreads)


@pytest.mark.parametrize("heat_loss_w_per_k", [80.0, 200.0, 320.0, 600.0, 800.0])
def test_unknown_house_is_wide_enough(heat_loss_w_per_k: float) -> None:
    """From a cottage (80 W/K) to a large farmhouse (800 W/K), no home is a freak to the empty survey."""
    prior = burn_prior(Survey(), KEROSENE)
    surveyed = burn_prior(Survey(heat_loss_w_per_k=heat_loss_w_per_k, boiler="condensing"), KEROSENE)
    z = (surveyed.slope_l_per_kday - prior.slope_l_per_kday) / (prior.slope_rel_sd * prior.slope_l_per_kday)
    assert abs(z) < 3.0


def test_unknown_house_burns_a_plausible_year() -> None:
    """The empty survey means a year between 1,200 and 3,000 litres at 2,200 degree-days.

    Common practice, no source: an oil-heated home in Britain burns somewhat under 2,000 litres a year.
    """
    prior = burn_prior(Survey(), KEROSENE)
    assert 1200 < 365 * prior.base_l_per_day + 2200 * prior.slope_l_per_kday < 3000


def test_richer_oil_needs_fewer_litres() -> None:
    """Gas oil holds more heat a litre, so every rate is smaller in the ratio of the heats."""
    survey = Survey(occupants=2, heat_loss_w_per_k=200.0, stove=Stove())
    ratio = KEROSENE.gross_kwh_per_l / GAS_OIL.gross_kwh_per_l
    kerosene, gas_oil = burn_prior(survey, KEROSENE), burn_prior(survey, GAS_OIL)
    for rate in ("base_l_per_day", "slope_l_per_kday", "solar_l_per_kwh_m2", "stove_l_per_kwh"):
        assert getattr(gas_oil, rate) == pytest.approx(ratio * getattr(kerosene, rate), rel=1e-12)


def test_other_hot_water_leaves_a_small_uncertain_base() -> None:
    """Hot water not from oil leaves a base load near nothing, as wide as itself, not the sun's to spare."""
    prior = burn_prior(parse_survey('hot_water = "other"'), KEROSENE)
    assert prior.base_l_per_day == pytest.approx(0.1)
    assert prior.base_rel_sd == pytest.approx(1.0)
    assert not prior.hot_water_share_of_base.any()


def test_range_cooker_burns_all_year() -> None:
    """A four-oven cooker of 8.5 kW burns about 50 litres a week (trade press; within 20 %)."""
    prior = burn_prior(parse_survey('hot_water = "other"\nrange_cooker_kw = 8.5'), KEROSENE)
    assert 7 * prior.base_l_per_day == pytest.approx(50, rel=0.2)
    assert prior.hot_water_l_per_day == pytest.approx(1.0)
    assert prior.base_rel_sd == pytest.approx(0.5)


def test_ceiling_counts_every_appliance() -> None:
    """All burners at full fire set the ceiling; an unknown boiler sets none."""
    boiler = burn_prior(Survey(boiler_kw=26.0, boiler="condensing"), KEROSENE).boiler_ceiling_l_per_day
    both = burn_prior(Survey(boiler_kw=26.0, boiler="condensing", range_cooker_kw=8.0), KEROSENE)
    assert boiler == pytest.approx(24 * 26 / 0.72 / KEROSENE.gross_kwh_per_l)
    assert both.boiler_ceiling_l_per_day - boiler == pytest.approx(24 * 8 / KEROSENE.gross_kwh_per_l)
    assert burn_prior(Survey(range_cooker_kw=8.0), KEROSENE).boiler_ceiling_l_per_day == math.inf


def test_empty_house_draws_no_hot_water() -> None:
    """Nobody in it, no hot water, and the prior still stands."""
    assert not hot_water_kwh_per_day(Survey(occupants=0)).any()
    assert burn_prior(Survey(occupants=0), KEROSENE).base_l_per_day > 0


def test_prior_says_what_it_rests_on() -> None:
    """What was told and what was assumed is said, each in a sentence."""
    told = " ".join(burn_prior(parse_survey(WHOLE), KEROSENE).rests_on)
    assert "guessed from floor area and year" in told
    assert "condensing oil boiler" in told
    assert "3 people, from your survey" in told
    assert "9 m² of windows, from your survey" in told
    assert told.count("assumed") == 1
    assert "m² more on the other sides assumed" in told
    assert " ".join(burn_prior(Survey(), KEROSENE).rests_on).count("assumed") == 4


def test_notes_of_the_survey_reach_the_prior() -> None:
    """An answer left out of a section is named among what the prior rests on."""
    prior = burn_prior(parse_survey("[stove]\nrated_kw = 4"), KEROSENE)
    assert any("hours is not given" in sentence for sentence in prior.rests_on)


@given(
    floor=st.none() | st.floats(10.0, 2000.0),
    built=st.none() | st.integers(1000, 2100),
    people=st.none() | st.floats(0.0, 40.0),
    boiler=st.none() | st.sampled_from(sorted(BOILERS)),
    water=st.sampled_from([None, "oil", "other", "season"]),
    cooker=st.none() | st.floats(0.2, 30.0),
    window=st.none() | st.floats(0.0, 300.0),
)
def test_every_survey_gives_a_usable_prior(
    floor: float | None, built: int | None, people: float | None, boiler: str | None, water: str | None,
    cooker: float | None, window: float | None,
) -> None:  # fmt: skip
    """Whatever was answered, rates are finite and not negative, spreads positive, shares 0 to 1."""
    answers = {
        "floor_area_m2": floor, "built": built, "occupants": people, "boiler": boiler, "hot_water": water,
        "range_cooker_kw": cooker, "solar": None if window is None else {"window_m2": window},
    }  # fmt: skip
    prior = burn_prior(read_survey({k: v for k, v in answers.items() if v is not None}), KEROSENE)
    assert prior.base_l_per_day >= 0.1 - 1e-12
    assert 0.0 < prior.slope_l_per_kday < 50.0
    assert prior.solar_l_per_kwh_m2 >= 0.0
    assert min(prior.base_rel_sd, prior.slope_rel_sd, prior.solar_rel_sd, prior.stove_rel_sd) > 0.0
    assert prior.base_rel_sd <= 1.0 + 1e-9
    assert np.isfinite(prior.hot_water_l_per_day).all()
    assert ((prior.hot_water_share_of_base >= 0) & (prior.hot_water_share_of_base <= 1)).all()


def test_months_without_heating_are_given_either_way() -> None:
    """Months with the heating off, or all but the months with it, are the same answer; none is none."""
    off = parse_survey("heating_off_months = [8, 6, 7, 7]")
    on = parse_survey("heating_months = [9, 10, 11, 12, 1, 2, 3, 4, 5]")
    assert off.heating_off_months == on.heating_off_months == (6, 7, 8)
    assert parse_survey("").heating_off_months == ()


def test_a_month_without_heating_keeps_a_little() -> None:
    """A month with the heating off keeps a tenth of it, for the cold week in which it is turned on."""
    assert heating_by_month(Survey(heating_off_months=(7,))) == (*(1.0,) * 6, 0.1, *(1.0,) * 5)
    assert set(heating_by_month(Survey())) == {1.0}


def test_windows_one_by_one() -> None:
    """Sections of windows give each its own plane and shade; the prior takes their area together, and adds none."""
    survey = parse_survey(
        "[solar]\nthermal_m2 = 4\n[[solar.windows]]\narea_m2 = 5\noverhang_m = 0.6\n"
        "[[solar.windows]]\narea_m2 = 2\nazimuth = 270\nhorizon_deg = 15\n"
    )
    assert survey.solar is not None
    assert survey.solar.thermal_m2 == 4.0
    assert survey.solar.windows == (Window(5.0, overhang_m=0.6), Window(2.0, azimuth=270.0, horizon_deg=15.0))
    one = burn_prior(parse_survey("[solar]\nwindow_m2 = 7"), KEROSENE)
    several = burn_prior(survey, KEROSENE)
    assert one.solar_l_per_kwh_m2 == pytest.approx((1.0 + 2 * 0.35 + 0.15) * several.solar_l_per_kwh_m2)
    assert "7 m² of windows, from your survey" in " ".join(several.rests_on)


def test_boiler_and_range_cooker_on_one_tank_add_up() -> None:
    """The cooker's litres come on top of the boiler's base load, in every month, and so does its ceiling."""
    boiler = burn_prior(Survey(occupants=3, boiler="condensing", boiler_kw=20.0), KEROSENE)
    both = burn_prior(Survey(occupants=3, boiler="condensing", boiler_kw=20.0, range_cooker_kw=8.0), KEROSENE)
    cooker_l = 24.0 * 0.35 * 8.0 / KEROSENE.gross_kwh_per_l
    np.testing.assert_allclose(
        both.base_l_per_day * both.hot_water_l_per_day,
        boiler.base_l_per_day * boiler.hot_water_l_per_day + cooker_l,
    )
    full_fire = 24.0 * 8.0 / KEROSENE.gross_kwh_per_l
    assert both.boiler_ceiling_l_per_day - boiler.boiler_ceiling_l_per_day == pytest.approx(full_fire)
    assert both.slope_l_per_kday == boiler.slope_l_per_kday
