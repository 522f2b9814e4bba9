"""Solves one programme by HiGHS: ``python -m tests.benchmarks.highs question.npz answer.npy``. Imports no other solver."""

from __future__ import annotations

import sys

import highspy
import numpy as np


def main(question: str, answer: str) -> int:
    """0 and a solution in ``answer``, or 1."""
    q = np.load(question)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(q["worth"]), len(q["low"])
    lp.sense_ = highspy.ObjSense.kMaximize
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = q["worth"], np.zeros(lp.num_col_), q["most"]
    lp.row_lower_, lp.row_upper_ = q["low"], q["high"]
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = q["start"], q["index"], q["value"]
    kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
    lp.integrality_ = [kinds[int(w)] for w in q["whole"]]
    solver = highspy.Highs()
    for option, value in (("output_flag", False), ("time_limit", float(q["seconds"])), ("threads", 2)):
        if solver.setOptionValue(option, value) != highspy.HighsStatus.kOk:
            return 1
    if solver.passModel(lp) == highspy.HighsStatus.kError:
        return 1
    whole = np.flatnonzero(q["whole"]).astype(np.int32)
    solver.setSolution(len(whole), whole, np.zeros(len(whole)))
    if solver.run() == highspy.HighsStatus.kError:
        return 1
    if solver.getInfo().primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return 1
    np.save(answer, np.array(solver.getSolution().col_value))
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
