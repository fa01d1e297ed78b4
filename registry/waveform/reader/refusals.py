"""Why a trace file is refused: the closed list of codes that a ReadError can carry."""

from collections.abc import Mapping
from types import MappingProxyType

REFUSALS: Mapping[str, str] = MappingProxyType(
    {
        "empty": "there is nothing in the file",
        "too_large": "the file is larger than 20 MiB, packed or unpacked",
        "damaged_gzip": "the gzip file is cut off or damaged",
        "not_text": "the file is no text: a spreadsheet, a document, a picture, another archive, bytes",
        "no_table": "no rows of numbers were found",
        "decimal_comma_unclear": "commas part the cells and the decimals",
        "ragged_row": "a row holds more cells than the others",
        "no_vacuum_column": "no column could be the vacuum",
        "ambiguous_columns": "several columns could be the vacuum",
        "unit_unknown": "the unit of vacuum is neither written nor declared, or is none that is known",
        "units_disagree": "the file and the declaration name different units",
        "rate_unknown": "there are no times and no rate",
        "bad_time": "a time cell holds no time like the others",
        "time_goes_back": "a time is earlier than the one before",
        "not_a_number": "a vacuum cell holds a word that is no number and no over-range word",
        "too_short": "fewer than ten samples",
        "too_many_samples": "more than two million samples",
    }
)
