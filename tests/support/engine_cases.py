"""Every worked example of the rules, as data: whoever claims to judge readings can be held to them."""

from case_terms import Case
from cases_of_limits import CASES_OF_LIMITS
from cases_of_sensors import CASES_OF_SENSORS
from cases_of_series import CASES_OF_SERIES
from cases_of_stages import CASES_OF_STAGES

__all__ = ["CASES", "Case"]

CASES: list[Case] = [*CASES_OF_LIMITS, *CASES_OF_STAGES, *CASES_OF_SERIES, *CASES_OF_SENSORS]
