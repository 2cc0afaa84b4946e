"""The drilled well against its estimate, and whether the firm's estimates still hold.

- `file_well`, `take_back`, `read_outcomes`: the firm's log of drilled wells, which `refresh` reads as a source too
- `make_estimate_record`, `write_estimate`, `read_estimates`: what was said at bid time
- `compare_outcomes`, `event_table`: where each well came out in its estimate, and the money
- `calibration`, `event_calibration`: the running count, with its uncertainty
- `drift`: a warning when estimates drift, with a stated rate of false alarms
- `account`: all of it, from the two files
"""

from wellrecords.outcomes.account import Account, OutcomesSettings, account, money_sentences
from wellrecords.outcomes.calibration import (
    calibration,
    calibration_sentences,
    event_calibration,
    poisson_binomial,
    share_interval,
)
from wellrecords.outcomes.compare import compare_outcomes, event_table, sentences_for_well
from wellrecords.outcomes.drift import DriftSettings, drift, drift_sentences
from wellrecords.outcomes.drilled_well import OUTCOME_COLUMNS, DrilledWell
from wellrecords.outcomes.estimates import (
    EstimateRecord,
    hash_inputs,
    make_estimate_record,
    read_estimates,
    write_estimate,
)
from wellrecords.outcomes.log import FILED_AT, LOG_COLUMNS, file_well, no_outcomes, read_outcomes, take_back

__all__ = [
    "FILED_AT",
    "LOG_COLUMNS",
    "OUTCOME_COLUMNS",
    "Account",
    "DriftSettings",
    "DrilledWell",
    "EstimateRecord",
    "OutcomesSettings",
    "account",
    "calibration",
    "calibration_sentences",
    "compare_outcomes",
    "drift",
    "drift_sentences",
    "event_calibration",
    "event_table",
    "file_well",
    "hash_inputs",
    "make_estimate_record",
    "money_sentences",
    "no_outcomes",
    "poisson_binomial",
    "read_estimates",
    "read_outcomes",
    "sentences_for_well",
    "share_interval",
    "take_back",
    "write_estimate",
]
