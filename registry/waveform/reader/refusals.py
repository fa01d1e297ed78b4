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
        "unit_unknown": "a unit is neither written nor declared, or is none that is known",
        "units_disagree": "the file and the declaration name different units of vacuum or time",
        "column_unknown": "a declared column is not in the file, or holds something else",
        "side_needed": "the file holds both sides of a pump and nothing says which is meant",
        "side_disagrees": "the declared side is not the one that the column's heading names, or is no side",
        "sides_missing": "both sides are wanted from a file that does not tell them",
        "sign_disagrees": "the values contradict the declared sign, or it is none that is known",
        "rate_unknown": "there are no times and no rate",
        "rates_disagree": "the file contradicts the declared rate",
        "bad_time": "a time cell holds no time like the others",
        "time_goes_back": "a time is earlier than the one before",
        "not_a_number": "a vacuum cell holds a word that is no number and no over-range word",
        "too_short": "fewer than ten samples",
        "too_many_samples": "more than two million samples",
    }
)
