"""rinse: the dirty-water tank, emptied and rinsed after every use (common practice, no source).

What dries in the tank smells, clogs the float and reaches the vacuum motor. `empty` alone ends nothing.
"""

from logbook.domain.duties.after_use import AfterUse

DUTY = "rinse"
RULE = AfterUse(DUTY)
