"""The words and marks with which people write readings, as patterns.

All of them are matched against tidied text: lower case, single blanks, plain
dashes and quotes. A word that is missing here is no error: its rows are held
back by name, and a layout can say what it means.
"""

from __future__ import annotations

import re

UNKNOWN_WORDS = frozenset(
    (
        "n/a", "na", "n.a.", "n.a", "#n/a", "nd", "n/d", "null", "nan", "<na>", "unknown", "unk", "unk.", "unkn",
        "missing", "blank", "tbd", "no record", "no data", "no info", "not known", "not available", "not recorded",
        "not reported", "not measured", "not given", "not stated", "not tested", "untested", "no test",
        "not determined", "undetermined", "?", "??", "???", "-", "--", "---", ".", "*",
    )
)  # fmt: skip
"""Said to be unknown."""
DRY_BELOW_GPM = 0.5
"""A hole called dry makes less than this: half a gallon a minute is what serves a house with storage (common practice),
and nobody calls such a hole dry."""
TOTAL_WORDS = frozenset(
    (
        "total", "totals", "grand total", "sum", "subtotal", "average", "avg", "mean", "count", "summe", "gesamt",
        "gesamtsumme", "mittelwert", "durchschnitt", "anzahl", "somme", "moyenne", "suma", "promedio",
    )
)  # fmt: skip
"""What a spreadsheet's last rows are called, which are no wells."""
DUMMY = r"(?:-9{2,6}|9{4,6})(?:[.,](?:0+|9+))?"
"""Nines that stand for "unknown". 999 is left out: it can be a real depth."""

DRY = re.compile(
    r"(?:dry|dry ?(?:hole|well|bore|abandoned)|no (?:water|yield)(?: encountered| found| met)?|nil|duster|0 ?\(?dry\)?)"
    r"[.! ]*"
)
DRY_DEPTH = re.compile(r"dry (?:to|at|@|down to) ?(?P<depth>\d.*)")
TRACE = re.compile(
    r"(?:trace|tr\.?|seep|seepage|seeps|damp|moist|very little|negligible|minimal)(?: (?:of )?water)?[.! ]*"
)
AT_GROUND = re.compile(r"(?:at )?(?:the )?(?:surface|ground(?: (?:level|surface))?|land surface|grade)")
OUTCROP = re.compile(r"(?:(?:bed ?)?rock |ledge )?(?:out ?crops?(?:ping)?|exposed)")
FLOW_WORD = re.compile(
    r"\b(?:flowing|flows|flow|flwg|flwng|artesian|artes\.?|art\.?|overflow|overflows|overflowing|free[- ]flowing)(?!\w)"
)
FLOW_FILLER = re.compile(r"\b(?:well|at|about|the|surface|from|top|of|casing|ground|natural(?:ly)?|over)\b|[@,;:()]")
ROCK = r"(?:(?:solid |sound )?(?:bed ?)?rock|ledge)"
MET = r"(?:enc(?:ountered|\.)?|reached|hit|met|found|penetrated|struck|observed)"
NOT_REACHED = re.compile(
    rf"^(?:(?:{ROCK} )?(?:was )?(?:not|never) {MET}|no {ROCK}(?: {MET})?|none {MET}|none(?= (?:to|at) \d)"
    rf"|overburden only|did not (?:reach|hit|meet)(?: {ROCK})?)"
    rf"(?: (?:to|at|by|in|within|above|before)? ?(?P<depth>.+))?$"
)
NOT_REACHED_SHORT = re.compile(r"n\.?/?e\.?")
ROCK_AT = re.compile(
    rf"^(?:{MET} )?(?:{ROCK}|top of {ROCK}) ?(?:at|@|:|=)? ?(?=\d)|(?<=[\d'\"a-z]) ?to (?:top of )?{ROCK}$"
)
TOTAL_DEPTH = re.compile(r"^(?:t\.?d\.?|total depth|depth)\b ?[:=@]? ?(?=\d)|(?<=[\d'a-z]) t\.?d\.?$")
SEA_LEVEL = re.compile(r" ?\(?\b(?:a?msl|asl|above (?:mean )?sea ?level|navd ?(?:19)?88|ngvd ?(?:19)?29)\)?$")
LEVEL_WORD = re.compile(r"\b(?:static(?: water)?(?: level)?|swl|water level|level)\b[:=]?")

DATE = re.compile(
    r"\d{4}-\d{1,2}-\d{1,2}(?:[ t].*)?|\d{1,2}/\d{1,2}/\d{2,4}.*|"
    r"\d{1,2}[- ](?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*(?:[- ]\d{2,4})?|"
    r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[- ]\d{1,4}"
)
UNCERTAIN_BEFORE = re.compile(
    r"^(?:~|≈|approx(?:imately|\.)?|about|abt\.?|around|circa|ca\.?|c\.|est(?:imated|\.)?|±|\+/-|roughly|maybe|say)\s*"
)
UNCERTAIN_AFTER = re.compile(
    r"\s*(?:\?+|\*+|~|\(?\b(?:est(?:imated|imate|\.)?|approx(?:imate|imately|\.)?|e)\)?|±|\+/-|\(\?\))$"
)
BELOW_BEFORE = re.compile(
    r"^(?:<=?|≤|=<|less than|lt|under|up to|no more than|not more than|at most|max(?:imum|\.)?)\s*"
)
ABOVE_BEFORE = re.compile(
    r"^(?:>=?|≥|=>|(?:more|greater|deeper) than|gt|over|at least|not less than|in excess of|exceeds|min(?:imum|\.)?)\s*"
)
ABOVE_AFTER = re.compile(r"\s*(?:\+|\bplus|(?:\bor|\band|&) (?:more|over|up|above|greater|better|deeper))$")
BELOW_AFTER = re.compile(r"\s*(?:-|(?:\bor|\band|&) (?:less|under|below))$")
ABOVE_GROUND = re.compile(r"\s*\(?\b(?:above (?:the )?(?:ground|surface|land surface|grade|gl)|agl|ags|above)\)?$")
BELOW_GROUND = re.compile(
    r"\s*\(?\b(?:below (?:the )?(?:ground|surface|land surface|grade|gl|top of casing|toc)(?: (?:surface|level))?|"
    r"bgl|bgs|b\.g\.l\.?|b\.g\.s\.?|btoc|deep|below|down)\)?$"
)
REMARK_AFTER = re.compile(
    r"^(?P<figure>.*?\d.*?)\s*(?:@|\bat\b|\bafter\b|\bfor\b|\bwith\b|\bw/|\bby\b|\bwhen\b|;|\bon\b|(?<=pm )in\b(?= \d)"
    r"|/(?= ?\d+ ?h)|(?<=\s)\d+ ?h(?:rs?|ours?)\b"
    r"|\b(?:pump(?:ed|ing)?|air(?: ?lift)?|blow(?:n|ing)?|bail(?:er|ed)?|test(?:ed)?)\b"
    r"|\b(?:id|od|pvc|steel|nominal|total)\b|(?<=[a-z.'\"] )\((?!.*(?:imp|uk))).*$"
)
"""A figure and words about it. In brackets they need a unit before them: "45 (148 ft)" may be of either."""
BUCKET = re.compile(
    r"^(?P<amount>[\d.,/ ]*\d) ?(?P<unit>gal(?:lon)?s?|l|lit(?:re|er)s?)\.? (?:in|per) "
    r"(?P<time>[\d.,]*\d) ?(?P<clock>s|m)(?:ecs?|econds?|ins?|inutes?)?\.?$"
)
"""A bucket filled while somebody counts: 5 gal in 30 sec."""
RANGE = re.compile(
    r"^(?:between |from )?(?P<low>.*?\d.*?)\s*(?:\b(?:to|and|or|thru|through)\b|-|\.\.)\s*(?P<high>\.?\d.*)$"
)
FEET_INCHES = re.compile(
    r"^(?P<feet>\d+(?:\.\d+)?)\s*(?:'|ft\.?|feet|foot)\s*-?\s*(?P<inches>\d+(?:\.\d+)?(?:\s+\d+/\d+)?|\d+/\d+)\s*(?:\"|in\.?|inch|inches)?$"
)
FIGURE = re.compile(
    r"^(?P<number>\d+\s+\d+/\d+|\d+-\d+/\d+|\d+/\d+|\d{1,3}(?: \d{3})+(?![\d.,/])|[\d.,]*\d(?:e[-+]?\d{1,2}(?!\d)|\.)?)"
    r"\s*(?P<unit>\D.*)?$"
)
PLUS_BEFORE_UNIT = re.compile(r"(?<=\d) ?\+ ?(?P<unit>[a-z/.']+)$")
FRACTION = re.compile(r"^(?:(?P<whole>\d+)[\s-]+)?(?P<top>\d+)/(?P<bottom>\d+)$")
VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
SAME = str.maketrans(
    {
        "–": "-",
        "—": "-",
        "−": "-",
        "‑": "-",
        "’": "'",
        "′": "'",
        "‘": "'",
        "”": '"',
        "″": '"',
        "“": '"',
        "`": "'",
        "\xa0": " ",
        "\u202f": " ",
        "\u2009": " ",
    }
)
