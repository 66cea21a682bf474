# SPDX-License-Identifier: Apache-2.0
"""serosa: water, volume and heat of a newborn with exposed bowel.

For teaching and review. Not dosing advice. Follow local protocols and licensed clinicians.

    import serosa
    wrapped = serosa.case("wrapped")
    late = wrapped.with_({"timeline.wrap.at": "20 min"})
    both = serosa.compare({"wrapped": wrapped, "late": late})
    both.bowel_evaporation.sel(time=6)

Times are h after birth, water g or mL, temperatures degC; every variable says its unit in
`.attrs["units"]`. `serosa.explain(name)` tells where a number comes from.
"""
from serosa._serosa import caution, commit, version as __version__
from serosa._cases import Case, case, cases
from serosa.errors import (Error, InputError, InputWarning, Problem, RunFailed, RunWarning,
                           WriteError)
from serosa._library import Explanation, explain, outputs, parameters
from serosa._runs import compare, run
from serosa._studies import open_results, sweep

__all__ = [
    "Case", "Error", "Explanation", "InputError", "InputWarning", "Problem", "RunFailed",
    "RunWarning", "WriteError", "__version__", "case", "cases", "caution", "commit", "compare",
    "explain", "open_results", "outputs", "parameters", "run", "sweep"]
