"""`/api/plan`: the names of the contract, the shop's own example, 422 with the field."""

import pytest

from tests.web.facing.test_service import ask

BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)
NAMES = {
    "rails_only", "table", "rails", "after_table", "target_positions", "nearest_without_table",
    "tip_rail_wider_mm", "shorter_mm", "cautions",
}  # fmt: skip


def facing(numbers, tip):
    """Make readings from half-millimetre numbers, thin to thick, both rails alike."""
    rail = [{"gap_mm": g, "position_mm": n / 2} for g, n in zip(BLADES_MM, numbers, strict=True)]
    return {"left": rail, "right": rail, "tip_opening_mm": tip}


CLOSE, OPEN = facing((33.5, 21.5, 11.5, 5.5), 1.05), facing((35.5, 23.5, 13.5, 6.5), 1.13)


def numbers(stops):
    return [stop["position_mm"] * 2 for stop in stops]


def test_a_plan_has_every_name_of_the_contract(client):
    found = ask(client, "plan", now=CLOSE, target=OPEN)
    assert set(found) >= NAMES
    assert set(found["table"]) >= {"at_break_mm", "at_end_mm"}
    assert set(found["rails"]) == {"left", "right"}
    assert set(found["rails"]["left"][0]) >= {"position_mm", "cut_mm"}
    assert set(found["after_table"]) >= {"left", "right", "tip_opening_mm"}
    assert set(found["target_positions"][0]) == {"gap_mm", "position_mm"}
    assert set(found["nearest_without_table"]) >= {"tip_opening_mm", "facing_length_mm"}


def test_the_way_up_is_rails_alone_and_the_way_back_says_what_the_table_loses(client):
    up = ask(client, "plan", now=CLOSE, target=OPEN)
    assert up["rails_only"]
    assert up["table"]["at_break_mm"] == up["table"]["at_end_mm"] == 0.0
    assert up["rails"]["left"][0]["cut_mm"] == pytest.approx(0.08)
    assert numbers(up["after_rails"]["left"]) == pytest.approx([35.5, 23.5, 13.5, 6.5], abs=1e-6)
    assert up["cautions"] == []
    back = ask(client, "plan", now=OPEN, target=CLOSE)
    table = back["table"]
    assert not back["rails_only"]
    # at the tip alone 1.13 − 1.05 = 0.08 must go
    assert 0.080 <= table["at_break_mm"] <= 0.090
    assert table["at_least_mm"] < table["at_break_mm"] < table["at_most_mm"]
    assert back["after_table"]["tip_opening_mm"] == pytest.approx(1.13 - table["at_break_mm"])
    assert back["nearest_without_table"]["tip_opening_mm"] == pytest.approx(1.13)
    assert [step["key"] for step in back["steps"]] == ["table", "rails", "check"]


def test_no_cut_is_negative_and_now_less_table_plus_rails_is_what_is_left(client):
    for now, target in ((CLOSE, OPEN), (OPEN, CLOSE)):
        found = ask(client, "plan", now=now, target=target)
        table = found["table"]["at_break_mm"]
        for station in (*found["rails"]["left"], *found["rails"]["right"]):
            lowered = max(0.0, station["now_mm"] - table)
            assert station["cut_mm"] >= 0.0
            assert lowered + station["cut_mm"] == pytest.approx(station["final_mm"], abs=1e-9)


def test_a_plain_target_stops_the_thinnest_blade_at_its_facing_length(client):
    target = {"curve": "arc", "facing_length_mm": 18.0, "tip_opening_mm": 1.25}
    found = ask(client, "plan", now=CLOSE, target=target)
    thinnest = found["target_positions"][0]
    assert thinnest["gap_mm"] == pytest.approx(0.0381)
    assert thinnest["position_mm"] == pytest.approx(18.0, abs=0.01)
    assert found["target"]["tip_opening_mm"] == pytest.approx(1.25)


def test_a_tolerance_spares_the_table_and_slopes_tell_the_tip_and_the_length(client):
    found = ask(client, "plan", now=OPEN, target=CLOSE, tolerance_mm=0.03)
    assert found["table"]["saved_mm"] == pytest.approx(0.03, abs=1e-3)
    up = ask(client, "plan", now=CLOSE, target=OPEN, tip_slope_deg=45, beak_slope_deg=20)
    assert up["tip_rail_wider_mm"] == pytest.approx(0.08)
    # 0.08 mm / tan 20°
    assert up["shorter_mm"] == pytest.approx(0.2198, abs=1e-4)


def test_limits_come_back_as_cautions(client):
    found = ask(client, "plan", now=OPEN, target=CLOSE, most_table_mm=0.05, window_end_mm=16)
    assert any("shop's limit" in words for words in found["cautions"])
    assert any("leak" in words for words in found["cautions"])


PLAIN = {"curve": "arc", "facing_length_mm": 18.0, "tip_opening_mm": 1.1}
REFUSED = {
    "no target": ({"now": CLOSE}, "target"),
    "an empty target": ({"now": CLOSE, "target": {}}, "target"),
    "a curve and readings": ({"now": CLOSE, "target": {**OPEN, "curve": "arc"}}, "target"),
    "no facing length": (
        {"now": CLOSE, "target": {"curve": "arc", "tip_opening_mm": 1.1}},
        "target.facing_length_mm",
    ),
    "no tip opening": (
        {"now": CLOSE, "target": {"curve": "arc", "facing_length_mm": 18}},
        "target.tip_opening_mm",
    ),
    "an unknown curve": ({"now": CLOSE, "target": {**PLAIN, "curve": "spline"}}, "target.curve"),
    "words for a number": (
        {"now": CLOSE, "target": {**PLAIN, "facing_length_mm": "long"}},
        "target.facing_length_mm",
    ),
    "nothing read": ({"now": {"left": [], "right": []}, "target": PLAIN}, "now"),
    "a blade of nothing": (
        {"now": {"left": [{"gap_mm": 0, "position_mm": 3}]}, "target": PLAIN},
        "now.left.0.gap_mm",
    ),
    "a tolerance below zero": (
        {"now": CLOSE, "target": PLAIN, "tolerance_mm": -0.1},
        "tolerance_mm",
    ),
    "a table too short": ({"now": CLOSE, "target": PLAIN, "table_end_mm": 10}, "table_end_mm"),
    "a flat slope": ({"now": CLOSE, "target": PLAIN, "tip_slope_deg": 0}, "tip_slope_deg"),
    "a misspelt name": ({"now": CLOSE, "target": PLAIN, "tolerence_mm": 0.1}, "tolerence_mm"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_planned_is_refused_by_field(client, case):
    body, field = REFUSED[case]
    found = ask(client, "plan", 422, **body)
    assert field in [one["field"] for one in found["detail"]]
