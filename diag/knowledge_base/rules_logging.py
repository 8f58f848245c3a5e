"""Cross-checks of what is said about logs: known channels and rules, each in its unit.

May import: `diag.basics`, and within the room `log_records` and `register`.
"""

from __future__ import annotations

from diag.basics import did_you_mean
from diag.knowledge_base.log_records import LOG_CHANNELS, LOG_RULES
from diag.knowledge_base.register import Register

__all__ = ["check_logging"]


def check_logging(register: Register) -> None:
    """Channels and rules are those that the program knows, and the rules are in their units."""
    for name, column in register.log_columns.items():
        path = ("log_columns", name)
        if name not in LOG_CHANNELS:
            hint = did_you_mean(name, LOG_CHANNELS, most=12)
            register.complain(path, f"there is no channel '{name}' of a log", hint, of_key=True)
        if column.lowest >= column.highest:
            register.complain((*path, "highest"), f"the highest must be above the lowest, {column.lowest:g}")
        for known in (column.unit, column.assumed):
            if known is not None and column.units and known not in column.units:
                register.complain((*path, "units"), f"'{known}' is used here but is not among the units", of_key=True)
    for name, rule in register.log_rules.items():
        path = ("log_rules", name)
        if name not in LOG_RULES:
            hint = did_you_mean(name, LOG_RULES)
            register.complain(path, f"there is no rule '{name}' for logs", hint, of_key=True)
        elif rule.unit != LOG_RULES[name]:
            hint = f"write it in '{LOG_RULES[name]}'"
            register.complain((*path, "unit"), f"this rule is not in '{rule.unit}'", hint)
