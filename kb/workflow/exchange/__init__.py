"""What leaves a shop and what comes in: whole shops as files, and tables of closed work orders."""

from kb.workflow.exchange.work_orders import (
    ROLES,
    ReadTable,
    RefusedRow,
    load_table,
    read_mapping,
    read_table,
    write_refused,
)

__all__ = [
    "ROLES",
    "ReadTable",
    "RefusedRow",
    "load_table",
    "read_mapping",
    "read_table",
    "write_refused",
]
