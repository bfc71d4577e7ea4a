"""The net under the numbers: golden plans, locks of tables, steps and limits, and the versions they hold to."""
