"""Files as people keep them, written with their truth before anybody looked how they are read.

How they were read before any reading was mended by one of them stands in `../file_cases/README.md`.
"""

from tests.intake.held_out_cases.figures import FIGURES
from tests.intake.held_out_cases.rows import ROWS
from tests.intake.held_out_cases.second import SECOND
from tests.intake.held_out_cases.times import TIMES

HELD_OUT = [*TIMES, *FIGURES, *ROWS]
SECOND_HELD_OUT = SECOND
