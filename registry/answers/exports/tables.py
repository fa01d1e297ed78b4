"""All that can be exported, by name."""

from collections.abc import Mapping
from types import MappingProxyType

from registry.answers.exports.answers import ANSWERS
from registry.answers.exports.benchtable import BENCHES, ROUNDS
from registry.answers.exports.claimtable import CLAIMS
from registry.answers.exports.dictionary import check_columns
from registry.answers.exports.measurements import Measurements
from registry.answers.exports.table import Table


def _by_name(*tables: Table) -> Mapping[str, Table]:
    for table in tables:
        check_columns(table.columns)
    return MappingProxyType({table.name: table for table in tables})


TABLES = _by_name(Measurements(), *ANSWERS, CLAIMS, BENCHES, ROUNDS)
