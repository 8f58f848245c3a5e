"""Large tables of cases, one row a case: read, weighed and decided by many hands, taken up again where it was stopped.

May import: decision, network, casebook, knowledge_base, inference, crew, basics, numpy, pyarrow.
"""

from diag.batch.columns import ColumnWords, column_words
from diag.batch.mapping import TableMap, read_table_mapping
from diag.batch.running import Progress, Run, TableResult, run_table

__all__ = [
    "ColumnWords",
    "Progress",
    "Run",
    "TableMap",
    "TableResult",
    "column_words",
    "read_table_mapping",
    "run_table",
]
