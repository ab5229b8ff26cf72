"""Turns coliforms that were found into a finding where nobody has looked for *E. coli* among them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Trouble
from wqcheck.quality.sample_amounts import Samples
from wqcheck.tables import Readings

COLIFORMS, ESCHERICHIA = "total_coliforms", "escherichia_coli"


def follow_up_findings(samples: Samples) -> Iterator[Finding]:
    """Yield each sample in which coliforms were found and that has no usable result for *E. coli*.

    Once any coliform is found, it must be determined whether it is *E. coli*: 21 CFR 129.35(a)(3)(i) for source water,
    129.80(g)(1) for bottled water.
    """
    rows = samples.rows_of(COLIFORMS)
    known = samples.ranges.trouble == Trouble.NONE
    looked = known & (samples.readings[Readings.parameter] == ESCHERICHIA).to_numpy(dtype=bool, na_value=False)
    found = rows[(samples.ranges.low[rows] > 0) | samples.ranges.open_low[rows]]
    for row in found[np.isin(samples.sample[found], samples.sample[looked]) == np.False_].tolist():
        message = (
            f"coliforms were found ({samples.given(row)}) in {samples.label(row)}, and there is no result for E. coli; "
            "have it looked for as soon as any coliform is found (21 CFR 129.35(a)(3)(i) and 129.80(g)(1))"
        )
        yield from samples.findings([row], "no follow-up", Severity.HOLD, message)
