"""Files as people keep them, each with the records it truly holds and what its owner would answer.

The table of truth was written before the reading of files was changed.  `CASES` holds them all.
"""

from tests.intake.file_cases.dates import DATES
from tests.intake.file_cases.duplicates import DUPLICATES
from tests.intake.file_cases.grades import GRADES
from tests.intake.file_cases.headings import HEADINGS
from tests.intake.file_cases.tables import TABLES
from tests.intake.file_cases.units import UNITS

CASES = [*DATES, *UNITS, *TABLES, *GRADES, *HEADINGS, *DUPLICATES]
