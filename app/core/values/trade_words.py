"""The trade's words, each explained once for the help page.

As they are used at the bench; common practice, no source.
"""

TRADE_WORDS: tuple[tuple[str, str], ...] = (
    ("facing", "The curve by which the side rails leave the plane of the table; also called lay."),
    ("table", "The flat the reed lies on."),
    ("side rails", "The two long edges the reed closes against, left and right of the window."),
    ("tip rail", "The short edge at the tip the reed closes against."),
    ("window", "The opening under the reed, between the rails."),
    ("baffle", "The inside surface behind the tip rail."),
    ("chamber", "The hollow between window and bore."),
    ("bore", "The hole through the shank; its diameter at the end is the exit bore."),
    ("beak", "The slope on top, under the player’s teeth."),
    ("shank", "The end that goes on the instrument. A clarinet’s ends in a tenon with cork or "
     "rings; a saxophone’s is a tube that slides over the neck’s cork."),
    ("tenon", "The narrow end of a clarinet’s shank that fits into the barrel."),
    ("tip opening", "The gap between the reed’s plane and the tip rail."),
    ("glass reading", "Where a blade stops, counted from the tip in the numbers on the glass. On a "
     "glass of half-millimetre numbers 36 means 18.0 mm."),
    ("facing length", "Where the thinnest blade of the set stops; the trade’s number."),
    ("break point", "Where the curve meets the table; further from the tip than the facing length, "
     "by a millimetre or several. Worked out, so told as a span over all curves that fit."),
    ("even", "The two rails read alike, within your tolerance and what the gauges can tell."),
    ("close, open", "Of a tip: a small or a large opening."),
    ("resistance", "What a player feels as push-back when blowing."),
    ("pass", "One spell at the bench: one kind of cut with one abrasive."),
)  # fmt: skip
