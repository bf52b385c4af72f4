"""What was measured, and where: tables from files, with what each column holds.

One reader for all kinds of table. A kind (:class:`Kind`) is a list of roles, each with the words
and the dimension of its column; :func:`open_records` finds the roles in the header of a file and
gives the rows.
"""

from __future__ import annotations

from shutoffsim.records.header import Column, Header, Kind, Role
from shutoffsim.records.reader import Records, Row, open_records
from shutoffsim.records.row import Cells
from shutoffsim.records.rows import Rows

__all__ = ["Cells", "Column", "Header", "Kind", "Records", "Role", "Row", "Rows", "open_records"]
