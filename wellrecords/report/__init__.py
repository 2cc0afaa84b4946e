"""Reports: one self-contained HTML file a lot, one a region, and an index.

- `write_lot_report`: what the records say about a lot, and the bid.
- `write_region_report`: the regional dataset, its map and its quality.
- `write_run_report`: what the last refresh did, for the analyst.
- `write_index`: one page that links the reports of a folder.
- `write_reports`: all of these for one run; `write_refresh_report` the refresh's alone.

The pages need no network, print to paper, and show text from records as
text only: see `wellrecords.report.escape`.
"""

from wellrecords.report.folder import write_refresh_report, write_reports
from wellrecords.report.index_page import ReportLink, write_index
from wellrecords.report.lot_report import write_lot_report
from wellrecords.report.region_report import RunCounts, write_region_report
from wellrecords.report.run_report import write_run_report
from wellrecords.report.settings import ReportSettings
from wellrecords.report.surfaces import MapSurface

__all__ = [
    "MapSurface",
    "ReportLink",
    "ReportSettings",
    "RunCounts",
    "write_index",
    "write_lot_report",
    "write_refresh_report",
    "write_region_report",
    "write_reports",
    "write_run_report",
]
