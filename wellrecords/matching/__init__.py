"""The same well, recorded more than once.

- `candidates`: pairs of records that could be one well (near in space and alike in depth or date, or one number)
- `scores`: how much more likely such a pair is one well than two
- `clusters`: groups of records that are one well, grown with care
- `combine`: one row a well, that says which record gave which value

`merge_duplicates` does all four.
"""

from wellrecords.matching.merge import Merged, merge_duplicates
from wellrecords.matching.settings import MatchingSettings

__all__ = ["MatchingSettings", "Merged", "merge_duplicates"]
