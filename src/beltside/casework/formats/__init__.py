"""The files people write: drive sheets and cases in TOML (docs/formats.md)."""

from beltside.casework.formats.case import Case as Case
from beltside.casework.formats.case import Finding as Finding
from beltside.casework.formats.case import Take as Take
from beltside.casework.formats.case import load_case as load_case
from beltside.casework.formats.drive_sheet import load_drive_sheet as load_drive_sheet
from beltside.casework.formats.drive_sheet import read_drive_sheet as read_drive_sheet
from beltside.casework.formats.problems import FileProblemsError as FileProblemsError
