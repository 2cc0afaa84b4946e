"""Reports: one self-contained HTML file a lot, one a region, and an index.

- `write_lot_report`: what the records say about a lot, and the bid.

The pages need no network, print to paper, and show text from records as
text only: see `wellrecords.report.escape`.
"""

from wellrecords.report.lot_report import write_lot_report
from wellrecords.report.settings import ReportSettings
from wellrecords.report.surfaces import MapSurface

__all__ = [
    "MapSurface",
    "ReportSettings",
    "write_lot_report",
]
