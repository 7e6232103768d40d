"""Why a batch did poorly: the facts of its time in the tray, and which of them may have harmed it."""
