"""Papers to print: short ones as a day brings them, and ones as full as the book allows."""

from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

from app.core.compare.card_front import list_figures, say_again, say_care
from app.core.compare.card_picture import build_picture
from app.core.compare.cards import build_measured_part
from app.core.compare.differences import take_facing
from app.core.facing.corrections import ToldReading
from app.core.facing.measurements import GaugesInUse
from app.core.jobs.slips import (
    SLIP_KINDS,
    BenchPart,
    BenchPlan,
    BillPart,
    CardBack,
    CardFront,
    CardPart,
    IntakePart,
    Label,
    LabelsPart,
    PackingPart,
    PaperPhoto,
    RecordJob,
    RecordPart,
    SlipCommon,
    SlipValues,
    TagPart,
    page_of,
)
from app.core.values.readings import ReadingEntry
from app.core.values.units import SCALES, format_blade
from app.render.codes import draw_code
from app.render.papers import Paper, frame_photo, make_paper
from app.web.facing.pictures import compare_picture
from app.web.jobs.slip_cards import maker_picture
from tests.render.cases import CLARINET_BLADES_MM, SAXOPHONE_BLADES_MM, facing

ROOT = Path(__file__).parents[2]
FOLDERS = (ROOT / "templates" / "papers", ROOT / "static" / "fonts")
GAUGES = GaugesInUse((), SCALES["glass_half_mm"], SCALES["tip_mm"], SCALES["bore_in"])
NAMES = "Ælfgifu Łukołapkowa-Großmümmel Þórðarfjöður Ōū-Ngũngĩ Şahşah Đỗđi"
ADDRESS = "http://192.168.100.200:8765/jobs/1043"
DAY = date(2026, 11, 25)
MARKUP = "# not a heading $x^2$ *no* _nor_ @this [or] \\that <b>&amp; `this` // ~ ```"
TWENTY_MM = tuple(round(0.04 + 0.09 * n, 2) for n in range(20))


def readings(long=False):
    """Give a facing before and after: four blades, or seven on uneven rails, or twenty."""
    if long == "twenty":
        stops = [2 * (22 - 1.0 * n) for n in range(20)]
        before = facing(tuple(stops), tuple(stops), 1.92, TWENTY_MM)
        return before, facing(tuple(one + 1 for one in stops), tuple(stops), 2.01, TWENTY_MM)
    if long:
        gaps = SAXOPHONE_BLADES_MM
        return (
            facing((44, 34, 28, 22.5, 16, 9, 3), (43, 34, 27, 22, 15, 9, 3), 1.62, gaps),
            facing((47, 36, 30, 24, 17.5, 10, 4), (46, 37, 30, 24.5, 17, 11, 4), 1.80, gaps),
        )
    return (
        facing((33.5, 21, 11.5, 5.5), (33.5, 21.5, 11.5, 5.5), 1.07),
        facing((36, 23, 13.5, 6.5), (36, 23, 13.5, 6.5), 1.15),
    )


def measured(before, after):
    """Give the measured part of a card."""
    bore = ReadingEntry("bore", "", None, None, None, "0.585", "bore_in", 14.87)
    sets = [
        replace(
            taken, readings=(*taken.readings, bore), told=(*taken.told, ToldReading(14.87, 0.01))
        )
        if facing and (taken := take_facing(facing))
        else None
        for facing in (before, after)
    ]
    return build_measured_part(*sets, GAUGES, 0.5)


def card(before, after, *, long=False):
    """Give what a card holds of two readings, either of which may be missing."""
    made = measured(before, after)
    photos = (PaperPhoto("photo-1.svg", "Tip, at drop-off: a chip", 1.4),) * (2 if long else 0)
    asked = "It feels stuffy up high." if not long else "It squeaks on long tones. " * 12
    return CardPart(
        CardFront(
            asked=asked,
            figures=list_figures(before, after, made.told, made.rails, GAUGES.tip),
            reed=made.reed,
            picture=build_picture(before, after, changed=bool(made.told.tip_mm)),
            done=("Worked on the plate, tilted toward the tip, in 5 passes.",) * (5 if long else 1),
            care=say_care("hard_rubber", "Keep it dry. " * (30 if long else 2)),
            again=say_again(DAY, 24),
        ),
        CardBack(
            rows=made.rows,
            figures=made.figures,
            counted=GAUGES.counted,
            curves=made.curves,
            as_read=("Worked out by what the gauges truly measured that day.",) * bool(long),
            done="Tilted toward the tip: 3 passes. " * (15 if long else 1),
            gauges=("0.010 in: checked 9 June 2026.",) * (6 if long else 1),
            picture=maker_picture(compare_picture(before, after, GAUGES)),
            photos=photos,
        ),
    )


def common(*, long=False, job=1043, **fields):
    """Give what every paper says."""
    given = {
        "shop": "Rumble & Rail",
        "shop_lines": ("Mill Lane 7, Lower Nowhere", "01632 960 100 · bench@rumble-rail.example"),
        "issued_on": "25 November 2026",
        "slip_number": 2077,
        "job_number": job,
        "customer": "Zsófia Örkömök-Ballangrütz",
        "customer_lines": ("Am Hafen 12", "Łąkonigdzie", "01632 960 134"),
        "piece": "Kestrel Row Nightjar “N4”",
        "piece_kind": "B♭ or A clarinet, hard rubber",
        "piece_marks": "small nick on the left of the shank",
        "dropped_off": "20 November 2026",
        "wanted_by": "18 December 2026",
        "request": "It feels stuffy up high.",
        "agreed_work": "Open the tip a little, even the rails.",
    }
    if long:
        given |= {
            "shop": f"The Workshop of {NAMES} and Daughters at the Old Mill",
            "shop_lines": ("Old Mill Lane 7, Lower Nowhere, " * 3, "01632 960 100 · " * 4),
            "customer": f"{NAMES} of the Long Established Town Band",
            "customer_lines": (*(f"{number} {NAMES} street" for number in range(5)), "01632 960 1"),
            "piece": f"{NAMES} “{'W' * 60}”",
            "piece_marks": "a nick beside the stamp " * 6,
            "played_on": f"contrabass clarinet {NAMES} ",
            "request": "It squeaks on long tones. " * 76,
            "agreed_work": f"{MARKUP} Open it a little and even the rails. " * 18,
        }
    return SlipCommon(**(given | fields))


def values(kind, *, long=False):
    """Give a paper's values; `long` ones are as full as the book allows."""
    if kind == "piece_record":
        return SlipValues(common(long=long, job=None), _record(long))
    cut = {
        "request": "It squeaks " * 8,
        "agreed_work": MARKUP,
        "piece_marks": "a nick " * 12,
        "customer": NAMES[:60],
        "piece": "W" * 60,
    }
    brief = cut if long and kind == "tray_tag" else {}
    return SlipValues(common(long=long, **brief), _PARTS[kind](long))


def paper(kind, size="A4", *, long=False, given=None) -> Paper:
    """Put a paper of a kind together, of usual values or of those given."""
    page, told = page_of(SLIP_KINDS[kind], size), given or values(kind, long=long)
    pictures = {
        "code.svg": draw_code(ADDRESS).decode(),
        "code-1043.svg": draw_code(ADDRESS).decode(),
        "photo-1.svg": frame_photo(None, 640, 457),
        "cut-both.svg": frame_photo(None, 640, 360),
    }
    return make_paper(kind, f"{kind}, job 1043", page, asdict(told), pictures, FOLDERS)


def _intake(long):
    return IntakePart(
        condition="chipped tip rail, bite marks on the beak. " * (20 if long else 1),
        came_with="cap, ligature" * (20 if long else 1),
        complaints="squeaks, stuffy" * (20 if long else 1),
        risks="glass: can break, crack: may run on",
        warranty="until 28 September 2027\nthe facing",
        declared_value="180.00 EUR",
        goes_home="by post",
        money=("85.00 EUR", "deposit 20.00 EUR"),
        terms="Material can only be taken away. " * (21 if long else 4),
    )


def _tag(long):
    return TagPart(
        address=ADDRESS,
        condition=("chipped tip rail, bite marks on the beak" * (20 if long else 1))[:90],
        came_with=("cap, ligature, reed" * (20 if long else 1))[:90],
        goes_home="by post",
    )


def _label(long):
    name, piece = (NAMES[:44], "W" * 48) if long else ("Zsófia Örkömök", "Nightjar “N4”")
    label = Label("1043", name, piece, "28 Sep 2026", ADDRESS, "code-1043.svg")
    return LabelsPart((label,), None)


def _card(long):
    return card(*readings(long), long=long)


def _bench(long):
    gaps = SAXOPHONE_BLADES_MM if long else CLARINET_BLADES_MM
    rows = [(format_blade(gap), "22.5/22.75", "23.1") for gap in gaps[::-1]]
    day = ("25 Nov 2026", "tilted toward the tip", "wet abrasive paper, 600", "8", "closes evenly")
    plan = BenchPlan(
        target="36 23 13.5 6.5 / 1.15",
        summary="The rails alone can do it.",
        cautions=("The window ends near the table.",),
        steps=(("Rails", "Take 0.05 mm off the tip end.", "35 22.5 13 6 / 1.13"),) * 3,
        checks=(("0.010 in", "21", "21", "23", "23"),) * 7,
        pictures=(("cut-both.svg", "What comes off both rails."),),
    )
    return BenchPart(
        condition="chipped tip rail " * (30 if long else 1),
        line="As received: 33.5 21/21.5 11.5 5.5 / 1.07",
        rows=(*rows, ("Tip opening", "1.07", "1.15"), ("Exit bore", "0.585", "")),
        counted=GAUGES.counted,
        target_name="",
        plan=plan if long else None,
        passes=(day,) * (12 if long else 2),
        caution="Hard rubber is a sulphur-cured rubber: work it wet. " * 5,
    )


def _bill(long):
    many = 40 if long else 2
    return BillPart(
        lines=(("refacing and evening the rails, by hand", "85.00 EUR"),) * many,
        payments=(("25 November 2026, deposit, cash", "20.00 EUR"),) * (6 if long else 1),
        sums=(("Total", "170.00 EUR"), ("of which VAT, 19 %", "27.14 EUR"), ("Paid", "20.00 EUR")),
        balance_label="To pay",
        balance="150.00 EUR",
        due="9 December 2026",
        address=tuple(f"{number} {NAMES} street" for number in range(8 if long else 2)),
        pay="By transfer to the account on our door.\nOr in cash.",
    )


def _packing(long):
    return PackingPart(
        to=NAMES if long else "Zsófia Örkömök",
        address=(f"{NAMES} street",) * (8 if long else 2),
        sender=("Mill Lane 7",) * (8 if long else 2),
        contents=(("Kestrel Row Nightjar", "small nick"), *(("cap", ""),) * (12 if long else 1)),
        carrier="by post, tracking RR 123 456 789",
        declared_value="180.00 EUR",
        customs=(
            ("Contents", "clarinet mouthpiece, hard rubber, used"),
            ("Origin", "Nirgendheim"),
        ),
        notes=(("Warranty", "until 28 September 2027"),),
        care=("Keep it dry and out of the sun. " * (21 if long else 2),),
    )


def _record(long):
    count = 60 if long else 2
    row = ("25 Nov 2026", "as received", "33.5 21/21.5 11.5 5.5 / 1.07", "16.75 mm", "even", "1043")
    job = RecordJob(
        heading="Job 1043, 25 November 2026, Zsófia: ready, 2 passes",
        facts=(("Asked for", "stuffy " * 80), ("Agreed", "Opened."), ("Price", "")),
        passes=(("25 Nov 2026", "tilted toward the tip", "wet paper, 600", "8", ""),) * 2,
        history=(("25 Nov 2026", "measured"), ("26 Nov 2026", "agreed " * 30)) * count,
        photos=(PaperPhoto("photo-1.svg", "Tip, at return", 1.4),),
    )
    return RecordPart(
        facts=(("For", "B♭ or A clarinet"), ("Maker", "Kestrel Row"), ("Notes", "quiet " * 50)),
        owners=(("25 November 2026", NAMES),) * (8 if long else 1),
        last="Last: 36 23 13.5 6.5 / 1.15",
        counted=GAUGES.counted,
        readings=(row,) * count,
        lengths=(("25 Nov 2026", "Exit bore", "14.87 mm"),),
        picture=maker_picture(compare_picture(*readings(), GAUGES)),
        jobs=(job,) * (3 if long else 1),
        photos=(),
    )


_PARTS = {
    "intake_slip": _intake,
    "tray_tag": _tag,
    "tray_label": _label,
    "bench_sheet": _bench,
    "return_card": _card,
    "half_card": _card,
    "estimate": _bill,
    "bill": _bill,
    "packing_note": _packing,
}
