"""The computation service: the fixed names, and 422 with the field for what can't be."""

import pytest

RAIL = [
    {"gap_mm": 0.0381, "position_mm": 18.0},
    {"gap_mm": 0.254, "position_mm": 12.0},
    {"gap_mm": 0.6096, "position_mm": 6.0},
    {"gap_mm": 0.8636, "position_mm": 3.0},
]


def ask(client, path, status=200, **body):
    answer = client.post(f"/api/{path}", json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_an_analysis_has_every_name_of_the_contract(client):
    found = ask(client, "analysis", left=RAIL, right=RAIL, tip_opening_mm=1.06)
    assert set(found) >= {"rails", "mean", "evenness"}
    for rail in (found["rails"]["left"], found["rails"]["right"], found["mean"]):
        assert set(rail) >= {
            "chosen",
            "tip_in_fit",
            "tip_offset_mm",
            "tip_offset_u_mm",
            "fits",
            "suspect",
            "break_span_mm",
        }
        for fit in rail["fits"]:
            assert set(fit) >= {"curve", "parameters", "uncertainties", "chi_square", "dof", "p",
                                "residuals", "tip_opening_mm", "facing_length_mm"}  # fmt: skip
    row = found["evenness"][0]
    assert set(row) >= {
        "gap_mm",
        "position_difference_mm",
        "height_difference_um",
        "u_um",
        "verdict",
    }


def test_the_rails_of_a_usual_facing_follow_an_arc_and_the_tip_stands_inside_it(client):
    # Common practice, no source: 36 24 12 6 with a tip of 1.06 mm; the figures are the design's.
    found = ask(client, "analysis", left=RAIL, tip_opening_mm=1.06)
    left = found["rails"]["left"]
    arc = next(fit for fit in left["fits"] if fit["curve"] == "arc")
    assert found["rails"]["right"] is None
    assert found["mean"] is None
    assert left["chosen"] == "arc"
    assert not left["tip_in_fit"]
    assert arc["chi_square"] == pytest.approx(2.5, abs=0.1)
    assert arc["p"] == pytest.approx(0.28, abs=0.02)
    assert arc["parameters"]["break_mm"] == pytest.approx(22.2, abs=0.1)
    assert arc["parameters"]["radius_mm"] == pytest.approx(214, abs=1)
    assert left["tip_offset_mm"] == pytest.approx(-0.10, abs=0.01)


def test_the_span_of_the_break_is_given_for_each_rail_or_null(client):
    found = ask(client, "analysis", left=RAIL, right=RAIL[:2], tip_opening_mm=1.06)
    low, high = found["rails"]["left"]["break_span_mm"]
    arc = next(fit for fit in found["rails"]["left"]["fits"] if fit["curve"] == "arc")
    assert low < arc["parameters"]["break_mm"] < high
    alone = ask(client, "analysis", left=RAIL[:2])
    assert alone["rails"]["left"]["break_span_mm"] is None


def test_a_comparison_tells_change_from_none(client):
    after = [{**stop, "position_mm": stop["position_mm"] + 1} for stop in RAIL]
    found = ask(client, "comparison", before={"left": RAIL, "tip_opening_mm": 1.06},
                after={"left": after, "tip_opening_mm": 1.06})  # fmt: skip
    by = {(row["quantity"], row["gap_mm"]): row for row in found["changes"]}
    moved = by["position", 0.0381]
    assert moved["changed"]
    assert moved["difference"] == pytest.approx(1.0)
    assert moved["en"] == pytest.approx(1.0 / moved["expanded_uncertainty"])
    assert not by["tip_opening", None]["changed"]
    assert by["tip_opening", None]["en"] == 0


def test_a_bore_gives_taper_and_angle(client):
    points = [{"depth_mm": 0, "diameter_mm": 15.0}, {"depth_mm": 20, "diameter_mm": 14.6}]
    found = ask(client, "bore", points=points)
    assert found["taper_per_mm"] == pytest.approx(0.02)
    assert found["included_angle_deg"] == pytest.approx(1.1459, abs=1e-4)
    assert set(found) >= {"uncertainties", "residuals_mm"}


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("analysis", {"left": [{"gap_mm": -1, "position_mm": 1}]}, "left.0.gap_mm"),
        ("analysis", {"left": [{"gap_mm": 0.1}]}, "left.0.position_mm"),
        ("analysis", {"left": "x"}, "left"),
        ("analysis", {"tip": "maybe"}, "tip"),
        ("analysis", {"curves": ["spiral"]}, "curves"),
        ("analysis", {"position_u_mm": 0}, "position_u_mm"),
        ("analysis", {"nonsense": 1}, "nonsense"),
        ("comparison", {"before": {}}, "after"),
        ("bore", {"points": []}, "points"),
        ("bore", {"points": [{"depth_mm": 0, "diameter_mm": 0}]}, "points.0.diameter_mm"),
    ],
)
def test_a_bad_request_names_the_field(client, path, body, field):
    detail = ask(client, path, status=422, **body)["detail"]
    assert field in [one["field"] for one in detail]


def test_not_json_is_refused(client):
    answer = client.post(
        "/api/analysis", content=b"{", headers={"content-type": "application/json"}
    )
    assert answer.status_code == 422


def test_an_effort_has_every_name_of_the_contract(client):
    wider = [{**stop, "position_mm": stop["position_mm"] + 0.2} for stop in RAIL]
    found = ask(
        client, "effort", family="clarinet_bb",
        before={"left": RAIL, "right": RAIL, "tip_opening_mm": 1.06},
        after={"left": wider, "right": wider, "tip_opening_mm": 1.21},
    )  # fmt: skip
    assert set(found) >= {"ratio", "low", "high", "reeds", "words"}
    assert 1.0 < found["low"] < found["ratio"] < found["high"]
    assert all(set(one) == {"shape", "ratio"} for one in found["reeds"])
    assert len(found["reeds"]) == 3
    assert "closes about" in found["words"]


@pytest.mark.parametrize("more", [{"same_blades": False}, {"laying_u_mm": 0.1}])
def test_an_effort_heeds_what_readings_share_as_a_comparison_does(client, more):
    sides = {
        "before": {"left": RAIL, "right": RAIL, "tip_opening_mm": 1.06},
        "after": {"left": RAIL, "right": RAIL, "tip_opening_mm": 1.16},
    }
    least, wider = ask(client, "effort", **sides), ask(client, "effort", **sides, **more)
    assert wider["ratio"] == least["ratio"]
    assert wider["low"] < least["low"] < least["high"] < wider["high"]


@pytest.mark.parametrize(
    ("before", "more", "field"),
    [
        ({"left": RAIL, "right": RAIL}, {}, "before.tip_opening_mm"),
        ({"left": RAIL[:1], "right": RAIL[:1], "tip_opening_mm": 1.06}, {}, "before.left"),
        ({"left": RAIL, "right": RAIL, "tip_opening_mm": 1.06}, {"family": "oboe"}, "family"),
    ],
)
def test_an_effort_without_enough_to_go_by_is_refused_in_words(client, before, more, field):
    whole = {"left": RAIL, "right": RAIL, "tip_opening_mm": 1.06}
    found = ask(client, "effort", 422, before=before, after=whole, **more)
    assert found["detail"][0]["field"] == field
    assert found["detail"][0]["words"].endswith(".")
