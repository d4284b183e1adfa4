"""The levels of "best" in their order on the plain model of `highs`: each minimised, then kept for all that follow."""

import math
from collections.abc import Sequence

import numpy as np
from oracles import oracle
from oracles.highs import LEVEL_1, Figures, Model, Ties


def settle_complete(model: Model, work: Sequence[int]) -> None:
    """The most jobs with every position of the kind inside its limits."""
    flags = []
    for i in work:
        if all(oracle.measured(model.jobs[i], p) for p in model.jobs[i].positions if p.kind == model.kind):
            flag = model.variable(1)
            for seat in model.seats_of([i]):
                at = model.figures_of_seat[seat]
                model.row_over(at, -model.of["inside"][at], [(flag, 1)], -math.inf, 0)
            flags.append((flag, -1))
    if flags:
        model.better(flags, model.figures(model.plan, work).incomplete - len(work))
        complete = len(work) - model.figures(model.plan, work).incomplete
        model.row([j for j, _ in flags], [1] * len(flags), complete - 0.5, math.inf)


def settle_fit(model: Model, work: Sequence[int]) -> None:
    """Levels 0 and 1."""
    mine = model.mine(work)
    if len(work) > 1:
        settle_complete(model, work)
    for name, sign in (("inside", -1), ("filled", -1), *((n, 1) for n in LEVEL_1)):
        value = model.settle(np.where(mine, sign * model.of[name], 0))
        if -value == len(model.seats_of(work)):  # then the others are out, which says more than a row
            model.forbid(mine & (model.of[name] == 0))


def settle_worst(model: Model, work: Sequence[int], slack: int = 0) -> int:
    """The smallest worst |deviation|; columns beyond it and the slack are out from here on."""
    mine = model.mine(work) & (model.of["counted"] > 0)
    off = np.where(mine, np.abs(model.of["dev"]), 0)
    before = model.most.copy()
    model.forbid(off > off[model.plan].max())  # nothing worse than the plan in hand
    if off[model.plan].any():
        worst = model.variable(int(off.max()) // model.unit)
        rows = len(model.rows)
        for seat in model.seats_of(work):
            at = model.figures_of_seat[seat]
            model.row_over(at, off[at] // model.unit, [(worst, -1)], -math.inf, 0)
        model.better([(worst, 1)], int(off[model.plan].max()) // model.unit)
        del model.rows[rows:]
    model.most[: len(before)] = before
    least = int(off[model.plan].max())
    model.forbid(off > least + slack)
    return least


def settle_spread(model: Model, work: Sequence[int], slack: int = 0) -> int:
    """The smallest largest spread of these jobs, kept with the slack. From `low` to `high` of each job lie its
    deviations; a position that does not count lets go of both."""
    counted = model.mine(work) & (model.of["counted"] > 0) & (model.most[: len(model.columns)] > 0)
    reach = int(np.abs(model.of["dev"][counted]).max(initial=0)) // model.unit
    spread = model.variable(2 * reach)
    for i in work:
        low, high = (model.variable(2 * reach) for _ in range(2))  # both plus the reach
        for seat in model.seats_of([i]):
            at = model.figures_of_seat[seat]
            dev = model.of["dev"][at] // model.unit
            model.row_over(at, np.where(counted[at], dev + reach, 0), [(high, -1)], -math.inf, 0)
            model.row_over(at, np.where(counted[at], reach - dev, 0), [(low, 1)], -math.inf, 2 * reach)
        model.row([high, low, spread], [1, -1, -1], -math.inf, 0)
    now = model.figures(model.plan, work).spread_nm
    if now:
        model.better([(spread, 1)], now // model.unit)
    least = model.figures(model.plan, work).spread_nm
    model.most[spread] = (least + slack) // model.unit + 0.5
    return least


def settle_squares(model: Model, work: Sequence[int]) -> int:
    mine = model.mine(work) & (model.of["counted"] > 0)
    return model.settle(np.where(mine, model.of["dev"] ** 2, 0))


def settle_boxes(model: Model, slack: int) -> None:
    """The fewest boxes among plans whose worst is within the slack; then among all that draw on no more."""
    everything = range(len(model.jobs))
    before = model.most.copy()
    settle_worst(model, everything, slack)
    flags: dict[str, int] = {}
    for seat in range(len(model.seats)):
        drawn: dict[str, list[int]] = {}
        for at in model.figures_of_seat[seat]:
            for box in {shell.box for shell in model.columns[at].pair or ()}:
                drawn.setdefault(box, []).append(int(at))
        for box, columns in drawn.items():
            if box not in flags:
                flags[box] = model.variable(1)
            model.row([*columns, flags[box]], [*[1] * len(columns), -1], -math.inf, 0)
    model.better([(j, 1) for j in flags.values()], model.figures(model.plan, everything).boxes)
    fewest = model.figures(model.plan, everything).boxes
    model.row(list(flags.values()), [1] * len(flags), -math.inf, fewest + 0.5)
    model.most[: len(model.columns)] = before[: len(model.columns)]


def settle_quality(model: Model, work: Sequence[int], strategy: str, slack: int) -> None:
    """Level 2."""
    if strategy == "keep-sets":
        settle_boxes(model, slack)
        slack = 0
    if strategy == "even":
        settle_spread(model, work, slack)
        settle_worst(model, work)
        settle_squares(model, work)
        if slack:
            settle_spread(model, work)
    else:
        settle_worst(model, work, slack)
        settle_squares(model, work)
        settle_spread(model, work)
        if slack:
            settle_worst(model, work)


def settle_ties(model: Model) -> None:
    model.settle(model.of["moved"])
    if model.of["filled"][model.plan].any():
        # How many are filled is settled: a share taken off each keeps the numbers small.
        share = int(np.median(model.of["clearance"][model.of["filled"] > 0]))
        model.settle(np.where(model.of["filled"] > 0, share - model.of["clearance"], 0))
    model.settle(model.of["difference"])


def prove(model: Model, strategy: str, slack_nm: int, *, in_order: bool) -> tuple[list[Figures], Ties]:
    """The best figures, of each turn where the jobs come one by one, else of all together; and the ties of all."""
    everything = list(range(len(model.jobs)))
    turns = [[i] for i in everything] if in_order else [everything]
    for work in turns:
        settle_fit(model, work)
        settle_quality(model, work, strategy, slack_nm)
    settle_ties(model)
    return [model.figures(model.plan, work) for work in turns], model.ties(model.plan)
