"""Papers to print: short ones as a day brings them, and ones as full as the book allows."""

from app.core.compare.cards import CardReadings, build_measured_part
from app.core.facing.measurements import GaugesInUse
from app.core.gauges.sizes import Sized
from app.core.jobs.slips import (
    BenchPart,
    BenchRow,
    BillPart,
    CardPart,
    IntakePart,
    PackingPart,
    RecordJob,
    RecordPart,
    SlipCommon,
    SlipValues,
    TagPart,
)
from app.core.values.readings import Uncertainties
from app.core.values.units import SCALES, format_blade
from tests.render.cases import CLARINET_BLADES_MM, SAXOPHONE_BLADES_MM, facing

GAUGES = GaugesInUse((), SCALES["glass_half_mm"], SCALES["tip_mm"], SCALES["bore_in"])
NAMES = "Ælfgifu Łukaszewska-Großmüller Þórðardóttir Ōe-Ngũgĩ Şahin Đỗ"
ADDRESS = "http://192.168.100.200:8765/jobs/1043"


def measured(long=False):
    """Give the measured half of a card: a clarinet's four blades, or seven on uneven rails."""
    if long:
        gaps = SAXOPHONE_BLADES_MM
        before = facing((44, 34, 28, 22.5, 16, 9, 3), (43, 34, 27, 22, 15, 9, 3), 1.62, gaps)
        after = facing((47, 36, 30, 24, 17.5, 10, 4), (46, 37, 30, 24.5, 17, 11, 4), 1.80, gaps)
    else:
        before = facing((34, 22, 12, 6), (34, 22.5, 12, 6), 1.02)
        after = facing((36, 24, 14, 7), (36, 24, 14, 7), 1.10)
    return build_measured_part(
        CardReadings(before, after, Sized(14.94, 0.01), Sized(14.94, 0.01)),
        GAUGES,
        Uncertainties(),
        0.5,
    )


def common(*, long=False, job=1043, **fields):
    """Give what every paper says."""
    given = {
        "shop": "Reed & Rail",
        "shop_lines": ("Mill Lane 7, Lower Reedham", "0555 700 100 · bench@reed-rail.example"),
        "issued_on": "25 November 2026",
        "slip_number": 2077,
        "job_number": job,
        "customer": "Zsófia Örkény-Ballangrud",
        "customer_lines": ("Am Hafen 12", "Łąkowo", "0555 12 34 56"),
        "piece": "Kestrel Row Nightjar “N4”",
        "piece_kind": "B♭ or A clarinet, hard rubber",
        "piece_marks": "small nick on the left of the shank",
        "played_on": "",
        "dropped_off": "20 November 2026",
        "wanted_by": "18 December 2026",
        "request": "It feels stuffy up high.",
        "agreed_work": "Open the tip a little, even the rails.",
    }
    if long:
        given |= {
            "shop": f"The Workshop of {NAMES} and Daughters at the Old Mill",
            "shop_lines": ("Old Mill Lane 7, Lower Reedham, " * 5, "0555 700 100 · " * 8),
            "customer": f"{NAMES} of the Long Established Town Band",
            "customer_lines": (f"{NAMES} street",) * 8,
            "piece": f"{NAMES} “{'W' * 24}”",
            "piece_marks": "a nick beside the stamp " * 40,
            "played_on": f"contrabass clarinet {NAMES} " * 2,
            "wanted_by": "28 September 2026",
            "request": "It squeaks on long tones. " * 190,
            "agreed_work": "Open it a little and even the rails. " * 130,
        }
    return SlipCommon(**(given | fields))


def values(kind, *, long=False):
    """Give a paper's values; `long` ones are as full as the book allows."""
    if kind == "piece_record":
        return SlipValues(common(long=long, job=None), _record(long))
    return SlipValues(common(long=long), _PARTS[kind](long))


def _intake(long):
    return IntakePart(
        condition="chipped tip rail, bite marks on the beak" * (20 if long else 1),
        came_with="cap, ligature" * (20 if long else 1),
        declared_value="180.00 EUR",
        goes_home="by post",
        money=("85.00 EUR", "deposit 20.00 EUR"),
        terms="Material can only be taken away. " * (21 if long else 4),
    )


def _tag(long):
    return TagPart(
        address=ADDRESS,
        condition="chipped tip rail, bite marks on the beak" * (20 if long else 1),
        came_with="cap, ligature, reed" * (20 if long else 1),
        goes_home="by post",
        wanted_short="28 Sep 2026",
    )


def _card(long):
    return CardPart(
        measured(long),
        done="Tilted toward the tip: 3 passes. " * (18 if long else 1),
        care="Keep it dry and out of the sun. " * (21 if long else 2),
    )


def _bench(long):
    gaps = SAXOPHONE_BLADES_MM if long else CLARINET_BLADES_MM
    rows = [BenchRow(format_blade(gap), "22.5", "22.75", "23.1") for gap in gaps[::-1]]
    day = ("2026-11-25", "tilted toward the tip", "wet abrasive paper, 600", "8", "closes evenly")
    return BenchPart(
        condition="chipped tip rail " * (30 if long else 1),
        line="As received: 34 22/22.5 12 6 / 1.02",
        rows=(*rows, BenchRow("Tip", "1.02", "", "1.10"), BenchRow("Exit bore", "0.588", "", "")),
        scale="half-millimetre numbers",
        target_name="",
        passes=(day,) * (12 if long else 2),
        caution="Hard rubber is a sulphur-cured rubber: work it wet. " * 5,
    )


def _bill(long):
    many = 24 if long else 2
    return BillPart(
        lines=(("refacing and evening the rails, by hand", "85.00 EUR"),) * many,
        payments=(("25 November 2026, deposit, cash", "20.00 EUR"),) * (6 if long else 1),
        total="170.00 EUR",
        paid="20.00 EUR",
        balance_label="to pay",
        balance="150.00 EUR",
        address=(f"{NAMES} street",) * (8 if long else 2),
    )


def _packing(long):
    return PackingPart(
        address=(f"{NAMES} street",) * (8 if long else 2),
        sender=("Mill Lane 7",) * (8 if long else 2),
        contents=(("Kestrel Row Nightjar", "small nick"), *(("cap", ""),) * (12 if long else 1)),
        carrier="by post, tracking RR 123 456 789",
        declared_value="180.00 EUR",
        care="Keep it dry and out of the sun. " * (21 if long else 2),
    )


def _record(long):
    count = 60 if long else 2
    return RecordPart(
        facts=(("For", "B♭ or A clarinet"), ("Maker", "Kestrel Row"), ("Notes", "n " * 150)),
        owners=(("25 November 2026", NAMES),) * (8 if long else 1),
        last="Last: 36 24 14 7 / 1.10",
        scale="half-millimetre numbers",
        readings=(
            ("2026-11-25", "as received", "34 22/22.5 12 6 / 1.02", "17.00 mm", "even", "1043"),
        )
        * count,
        jobs=(
            RecordJob(
                "Job 1043, 25 November 2026, Zsófia: ready, 2 passes", "stuffy " * 80, "Opened.",
                (("2026-11-25", "measured"), ("2026-11-26", "agreed " * 30)) * count,
            ),
        )
        * (3 if long else 1),
    )  # fmt: skip


_PARTS = {
    "intake_slip": _intake,
    "tray_tag": _tag,
    "tray_label": _tag,
    "bench_sheet": _bench,
    "return_card": _card,
    "half_card": _card,
    "bill": _bill,
    "packing_note": _packing,
}
