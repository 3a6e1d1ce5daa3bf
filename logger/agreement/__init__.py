"""How well observers measure: several sweeps of one point held against each other, or in time."""

from logger.agreement.iso5725 import Precision, Spread, h_limit, k_limit, precision
from logger.agreement.observers import (
    Estimate,
    Observers,
    SweepOf,
    Traced,
    TracingBias,
    observers_of,
)
