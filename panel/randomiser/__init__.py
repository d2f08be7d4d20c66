"""Drawing at random what must be drawn: serving orders, incomplete blocks, sets, codes, labels, whole plans.

Pure: a result depends on its arguments and the seed alone, on every machine and Python version. Samples,
conditions and places in an order are indices from 0; numbers that people read (place, position, task,
sitting, replicate) start from 1.
"""

from panel.randomiser.balance import Balance, Bound, balance_of
from panel.randomiser.forced import ForcedChoice, forced_choice
from panel.randomiser.incomplete import IncompleteBlocks, incomplete_blocks
from panel.randomiser.labels import blind_labels, pour_letters
from panel.randomiser.plan import Place, Serving, ServingPlan, serving_plan
from panel.randomiser.pool import codes
from panel.randomiser.squares import CompleteOrders, williams

__all__ = [
    "Balance",
    "Bound",
    "CompleteOrders",
    "ForcedChoice",
    "IncompleteBlocks",
    "Place",
    "Serving",
    "ServingPlan",
    "balance_of",
    "blind_labels",
    "codes",
    "forced_choice",
    "incomplete_blocks",
    "pour_letters",
    "serving_plan",
    "williams",
]
