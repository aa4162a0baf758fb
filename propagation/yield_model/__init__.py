"""The yield model: when each mother can be cut next, for how many frags, and how surely. Numbers only.

The usual way through it: lay histories side by side (`histories.pad_histories`), learn from them
(`backtest.learn_model`), see where each colony stands (`forecast.view_colonies`), and ask (`forecast.forecast_sizes`,
`next_cut.next_cuts`,
`cutting_plan.plan_cutting`, `cutting_plan.fill_order`). Plugs: `healing.learn_healing`. Past yield: `yield_record`.
A file of readings: `long_form.backtest_long_form`. A growth model is frozen and can be kept until records change.
"""

from .backtest import learn_model
from .cutting_plan import Growth, fill_order, plan_cutting
from .forecast import forecast_sizes, view_colonies
from .frag_units import FragUnit, default_frag_unit, learn_frag_unit
from .healing import PlugHealing, learn_healing
from .histories import ColonyHistory, Cut, Decline, Reading, pad_histories
from .long_form import backtest_long_form, read_long_form
from .next_cut import Binds, Circumstances, CutRules, default_rules, next_cuts
from .pooling import learn_lag

__all__ = [
    "Binds",
    "Circumstances",
    "ColonyHistory",
    "Cut",
    "CutRules",
    "Decline",
    "FragUnit",
    "Growth",
    "PlugHealing",
    "Reading",
    "backtest_long_form",
    "default_frag_unit",
    "default_rules",
    "fill_order",
    "forecast_sizes",
    "learn_frag_unit",
    "learn_healing",
    "learn_lag",
    "learn_model",
    "next_cuts",
    "pad_histories",
    "plan_cutting",
    "read_long_form",
    "view_colonies",
]
