"""Tables of scanning and printing."""

from labels.models.scans import Scan
from labels.models.sheets import SheetLayout

__all__ = ["Scan", "SheetLayout"]
