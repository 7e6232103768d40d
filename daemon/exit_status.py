"""How a command ends: the four answers that scripts can rely on."""

from typing import Final

DONE: Final = 0
#: The command ran, and what it checked does not hold.
DOES_NOT_HOLD: Final = 1
#: Wrong usage, or a configuration that cannot be used.
CANNOT_BE_USED: Final = 2
#: The store cannot keep its promise.
STORE_FAILED: Final = 3
