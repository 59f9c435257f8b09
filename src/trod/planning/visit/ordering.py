"""Which tasks, by whom, in which order: the search behind a round.

Whole seconds in, an order out. Two searchers answer the same question: pyvrp, when the extra `route` is installed,
and one of our own (cheapest insertion, exchanges, then taking out and putting back), which needs nothing and finds
somewhat longer ways. Both give the same answer to the same seed.
"""

from __future__ import annotations

import contextlib
import importlib
import itertools
import math
import random
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from trod.errors import WrongInput

Table = NDArray[np.int64]
Searcher = Literal["auto", "pyvrp", "own"]

NO_WAY_S = 30 * 86_400  # longer than any round: such a leg is never gone
NEVER_S = 10_000 * 86_400
POLISH = 150
# Of our own search, by trying on rounds of 40 to 60 stops in clusters with two to four parties (docs/models/rounds.md):
STARTS = 3  # times it begins anew; one alone stays 4 to 12 % behind now and then
STILL = 20  # rounds for each stop
ANEW = 0.1  # share of rounds in which a whole day is taken apart
HEAT, COOL = 0.8, 0.01  # how much worse than the mean stop's share is gone on from, and what is left of it at the end


@dataclass(frozen=True, kw_only=True)
class Task:
    """One thing to be done at a node. Tasks of one `either` number stand for one another: one of them at most.

    node : row of the table of travel. there_s : how long it takes. early_s, late_s : earliest and latest begin.
    worth_s : seconds of work that it is worth; it is left out when it costs more. must : done even so.
    load : in whole units of the crews' `most_load`. hands : people it takes.
    """

    node: int
    there_s: int
    worth_s: int = 0
    must: bool = False
    early_s: int = 0
    late_s: int = NEVER_S
    load: int = 0
    hands: int = 1
    either: int | None = None


@dataclass(frozen=True, kw_only=True)
class Crew:
    """People who go together, on one day. early_s : they may leave; late_s : they must be home.

    node : where they leave from and come back to.
    """

    node: int = 0
    early_s: int = 0
    late_s: int = NEVER_S
    most_load: int | None = None
    hands: int = 1


@dataclass(frozen=True, kw_only=True)
class Ordering:
    """An order that can be kept. routes : for each crew the tasks (their numbers) in turn.

    cost_s : time away of all crews, less the worth of what is done. searcher : which one found it.
    """

    routes: tuple[tuple[int, ...], ...]
    cost_s: int
    searcher: Literal["pyvrp", "own"]


@dataclass(frozen=True, kw_only=True)
class Timing:
    """When a route happens. leave_s, home_s : of the crew; arrive_s, begin_s, end_s : at each task."""

    leave_s: int
    home_s: int
    arrive_s: tuple[int, ...]
    begin_s: tuple[int, ...]
    end_s: tuple[int, ...]

    @property
    def away_s(self) -> int:
        """From leaving to being home."""
        return self.home_s - self.leave_s


def time_of(route: Sequence[int], tasks: Sequence[Task], crew: Crew, travel_s: Table) -> Timing | None:
    """The times of a route, leaving as late as does not make anyone come home later; None when it cannot be kept.

    Notes : waiting that leaving later would save is saved; waiting that it would not save happens at the site.
    """
    if not route:
        return Timing(leave_s=crew.early_s, home_s=crew.early_s, arrive_s=(), begin_s=(), end_s=())
    if crew.most_load is not None and sum(tasks[t].load for t in route) > crew.most_load:
        return None
    if any(tasks[t].hands > crew.hands for t in route):
        return None
    leave = crew.early_s
    for again in (False, True):
        now, at = leave, crew.node
        arrive: list[int] = []
        begin: list[int] = []
        end: list[int] = []
        slack = NEVER_S
        for t in route:
            task = tasks[t]
            now += int(travel_s[at, task.node])
            arrive.append(now)
            waited = max(0, task.early_s - now)
            now += waited
            if now > task.late_s:
                return None
            # Leaving later by this much moves no begin past its latest and only eats waiting so far.
            slack = min(slack, task.late_s - now + sum(b - a for a, b in zip(arrive, begin, strict=False)) + waited)
            begin.append(now)
            now += task.there_s
            end.append(now)
            at = task.node
        home = now + int(travel_s[at, crew.node])
        if home > crew.late_s:
            return None
        waiting = sum(b - a for a, b in zip(arrive, begin, strict=True))
        if again or not waiting:
            break
        leave += min(slack, waiting)
    return Timing(leave_s=leave, home_s=home, arrive_s=tuple(arrive), begin_s=tuple(begin), end_s=tuple(end))


def order(
    travel_s: Table,
    tasks: Sequence[Task],
    crews: Sequence[Crew],
    *,
    seed: int = 1,
    searcher: Searcher = "auto",
    patience: int | None = None,
) -> Ordering:
    """The best order that is found: the least time away, less the worth of what is done.

    travel_s : (nodes, nodes) whole seconds, [from, to]; NO_WAY_S or more where there is none.
    searcher : "auto" takes pyvrp when it is there; what it finds is bettered by our own search where that can.
    patience : how long to search, in rounds; None suits the size.
    Raises WrongInput for a table that does not fit, and when a task that must be done cannot be.
    """
    travel_s = np.minimum(np.asarray(travel_s, dtype=np.int64), NO_WAY_S)
    n = travel_s.shape[0]
    if travel_s.ndim != 2 or travel_s.shape != (n, n) or (travel_s < 0).any():
        raise WrongInput("travel_s", got=travel_s.shape, needed="a square table of seconds, 0 or more")
    if not crews:
        raise WrongInput("crews", got=0, needed="at least one")
    if any(not 0 <= t.node < n for t in tasks) or any(not 0 <= c.node < n for c in crews):
        raise WrongInput("node", got="one that the table does not have", needed=f"0 to {n - 1}")
    if patience is not None and patience < 1:
        raise WrongInput("patience", got=patience, needed="a whole number, 1 or more")
    own = _Own(travel_s, tasks, crews, random.Random(seed))
    if searcher not in ("auto", "pyvrp", "own"):
        raise WrongInput("searcher", got=searcher, needed="auto, pyvrp or own")
    if searcher != "own":
        try:
            package = importlib.import_module("pyvrp")
        except ImportError:
            if searcher == "pyvrp":
                raise WrongInput(
                    "searcher", got="pyvrp, which is not installed", needed="the extra route, or the searcher own"
                ) from None
        else:
            found = _by_pyvrp(package, travel_s, tasks, crews, seed=seed, patience=patience)
            if found is not None:
                # Where much is left out, taking out and putting back still betters what the package finds.
                best = own.search(patience or POLISH, begin=found)
                with contextlib.suppress(WrongInput):
                    best = min(best, _Own(travel_s, tasks, crews, random.Random(seed)).search(patience), key=own.cost)
                return Ordering(routes=best, cost_s=own.cost(best), searcher="pyvrp")
    routes = own.search(patience)
    if patience is None:
        for start in range(1, STARTS):
            again = _Own(travel_s, tasks, crews, random.Random(seed + 1_000_003 * start))
            routes = min(routes, again.search(None), key=own.cost)
    return Ordering(routes=routes, cost_s=own.cost(routes), searcher="own")


def _by_pyvrp(
    package: Any,
    travel_s: Table,
    tasks: Sequence[Task],
    crews: Sequence[Crew],
    *,
    seed: int,
    patience: int | None,
) -> tuple[tuple[int, ...], ...] | None:
    """The order that pyvrp finds; None when none of what it found can be kept."""
    if not tasks:
        return tuple(() for _ in crews)
    groups: dict[int, list[int]] = {}
    for number, task in enumerate(tasks):
        if task.either is not None:
            groups.setdefault(task.either, []).append(number)
    group_of = {either: number for number, either in enumerate(groups)}
    clients = [
        package.Client(
            location=task.node,
            delivery=[task.load],
            service_duration=task.there_s,
            tw_early=task.early_s,
            tw_late=max(task.late_s, task.early_s),
            prize=task.worth_s,
            required=task.must and task.either is None,
            group=None if task.either is None else group_of[task.either],
        )
        for task in tasks
    ]
    # A task for more hands than a crew has lies out of that crew's reach: a table of travel for each number of hands.
    hands = sorted({crew.hands for crew in crews})
    tables = []
    for have in hands:
        table = travel_s.copy()
        for node in {task.node for task in tasks if task.hands > have} - {crew.node for crew in crews}:
            table[:, node] = NO_WAY_S
            table[node, node] = 0
        tables.append(table)
    starts = sorted({crew.node for crew in crews})
    data = package.ProblemData(
        locations=[package.Location(0, 0) for _ in range(travel_s.shape[0])],
        clients=clients,
        depots=[package.Depot(location=node) for node in starts],
        vehicle_types=[
            package.VehicleType(
                num_available=1,
                capacity=[NEVER_S if crew.most_load is None else crew.most_load],
                start_depot=starts.index(crew.node),
                end_depot=starts.index(crew.node),
                tw_early=crew.early_s,
                tw_late=crew.late_s,
                unit_distance_cost=0,
                unit_duration_cost=1,
                profile=hands.index(crew.hands),
            )
            for crew in crews
        ],
        distance_matrices=tables,
        duration_matrices=tables,
        groups=[
            package.ClientGroup(members, required=any(tasks[m].must for m in members)) for members in groups.values()
        ],
    )
    still = patience or max(1500, 40 * len(tasks))
    stop = package.stop.MultipleCriteria([package.stop.NoImprovement(still), package.stop.MaxIterations(12 * still)])
    with warnings.catch_warnings():
        # Its warning that the round may be too full: what does not fit is told in our own words.
        warnings.simplefilter("ignore")
        result = package.solve(data, stop=stop, seed=seed, collect_stats=False, display=False)
    if not result.is_feasible():
        return None
    routes: list[tuple[int, ...]] = [() for _ in crews]
    for route in result.best.routes():
        routes[route.vehicle_type()] = tuple(a.idx for a in route if a.is_client())
    for crew, taken in zip(crews, routes, strict=True):
        if time_of(taken, tasks, crew, travel_s) is None:
            return None
    return tuple(routes)


class _Own:
    """Our own search: cheapest insertion, exchanges within and between routes, then ruin and repair.

    Notes : sites that lie together are often worth it together and none alone; so now and then a whole day is taken
    apart and filled anew around one place, whatever each costs, and then pruned.
    References : G. Schrimpf et al. (2000) Record breaking optimization results using the ruin and recreate
    principle, Journal of Computational Physics 159:139-171 (from memory); the exchanges are textbook 2-opt and
    or-opt.
    """

    def __init__(self, travel_s: Table, tasks: Sequence[Task], crews: Sequence[Crew], chance: random.Random) -> None:
        self.d: list[list[int]] = travel_s.tolist()
        self.table, self.tasks, self.crews, self.chance = travel_s, tasks, crews, chance
        units: dict[Any, list[int]] = {}
        for number, task in enumerate(tasks):
            units.setdefault(("one", number) if task.either is None else ("either", task.either), []).append(number)
        self.units = list(units.values())
        self.unit_of = {t: u for u, members in enumerate(self.units) for t in members}
        nodes = np.array([self.tasks[members[0]].node for members in self.units], dtype=np.intp)
        around = travel_s[np.ix_(nodes, nodes)] + travel_s[np.ix_(nodes, nodes)].T
        self.near = np.argsort(around, axis=1, kind="stable").tolist() if self.units else []
        self._costs: dict[tuple[int, tuple[int, ...]], int | None] = {}
        self._held: dict[tuple[int, tuple[int, ...]], tuple[list[int], list[int], list[int], int]] = {}
        self.task_told = [(t.node, t.there_s, t.early_s, t.late_s, t.worth_s, t.load, t.hands) for t in tasks]
        self.crew_told = [(c.node, c.early_s, c.late_s, NEVER_S if c.most_load is None else c.most_load) for c in crews]

    def route_cost(self, crew: int, route: tuple[int, ...]) -> int | None:
        """Time away less worth; None when it cannot be kept. The same as by `time_of`, without the times."""
        key = (crew, route)
        if key in self._costs:
            return self._costs[key]
        if len(self._costs) > 300_000:
            self._costs.clear()
        self._costs[key] = cost = self._reckon(crew, route)
        return cost

    def _reckon(self, crew: int, route: tuple[int, ...]) -> int | None:
        home, early, last, room = self.crew_told[crew]
        if not route:
            return 0
        now, at, waited, slack, worth, load = early, home, 0, NEVER_S, 0, 0
        for t in route:
            node, there, first, late, value, weighs, hands = self.task_told[t]
            now += self.d[at][node]
            if now < first:
                waited += first - now
                now = first
            elif now > late:
                return None
            slack = min(slack, late - now + waited)
            now += there
            at = node
            worth += value
            load += weighs
            if hands > self.crews[crew].hands:
                return None
        now += self.d[at][home]
        if now > last or load > room:
            return None
        return now - early - min(slack, waited) - worth

    def _slots(self, crew: int, route: tuple[int, ...]) -> tuple[list[int], list[int], list[int], int]:
        """A trip's nodes with home at both ends, their hours, and the room left.

        The hours: when each is left at the earliest, when each must be begun at the latest. The room: the load that
        still fits.
        """
        key = (crew, route)
        if key not in self._held:
            if len(self._held) > 50_000:
                self._held.clear()
            home, early, last, room = self.crew_told[crew]
            nodes, leave = [home], [early]
            for t in route:
                node, there, first, _, _, weighs, _ = self.task_told[t]
                leave.append(max(leave[-1] + self.d[nodes[-1]][node], first) + there)
                nodes.append(node)
                room -= weighs
            nodes.append(home)
            latest = [last] * (len(route) + 2)
            for k in range(len(route), 0, -1):
                _, there, _, late, _, _, _ = self.task_told[route[k - 1]]
                latest[k] = min(late, latest[k + 1] - self.d[nodes[k]][nodes[k + 1]] - there)
            self._held[key] = (nodes, leave, latest, room)
        return self._held[key]

    def cost(self, routes: Sequence[Sequence[int]]) -> int:
        """Of all routes; each must be one that can be kept."""
        costs = [self.route_cost(crew, tuple(route)) for crew, route in enumerate(routes)]
        assert all(c is not None for c in costs)
        return sum(c for c in costs if c is not None)

    def search(
        self, patience: int | None, begin: Sequence[tuple[int, ...]] | None = None
    ) -> tuple[tuple[int, ...], ...]:
        """The best routes found. begin : routes to better, instead of none.

        Raises WrongInput when what must be done finds no room.
        """
        best: list[tuple[int, ...]] = list(begin) if begin is not None else [() for _ in self.crews]
        served = {self.unit_of[t] for route in best for t in route}
        best, out = self._insert(best, [u for u in range(len(self.units)) if u not in served], calm=True)
        best = self._exchange(best)
        best_rank = self._rank(best, out)
        now, now_out, now_rank = best, out, best_rank
        still = patience or max(400, STILL * len(self.units))
        heat = HEAT * max(1, abs(best_rank[1])) / max(1, len(self.units))
        for tried in range(4 * still):
            if len(self.units) < 2 or (not any(now) and not now_out):
                break
            # Now and then a whole day anew, from one place on: sites that lie together are worth it together.
            anew = self.chance.random() < ANEW
            routes, out = self._ruin(now, now_out, whole_day=anew)
            generous = anew or self.chance.random() < 0.25
            routes, out = self._insert(routes, out, calm=False, generous=generous, around=anew)
            if generous:
                routes, out = self._prune(routes, out)
            if anew:
                routes, out = self._insert(self._exchange(routes), out, calm=True)
            rank = self._rank(routes, out)
            if rank < best_rank:
                routes = self._exchange(routes)
                rank = self._rank(routes, out)
                best, best_rank = routes, rank
            # Now and then a slightly worse way is gone on from, less and less so.
            allow = heat * COOL ** (tried / (4 * still)) * -math.log(max(self.chance.random(), 1e-12))
            if rank[0] <= now_rank[0] and rank[1] < now_rank[1] + allow:
                now, now_out, now_rank = routes, out, rank
        if best_rank[0]:
            raise WrongInput(
                "tasks", got="some that must be done and find no room", needed="more days, more people or fewer of them"
            )
        return tuple(best)

    def _rank(self, routes: Sequence[tuple[int, ...]], out: Sequence[int]) -> tuple[int, int]:
        return sum(any(self.tasks[t].must for t in self.units[u]) for u in out), self.cost(routes)

    def _ruin(
        self, routes: list[tuple[int, ...]], out: list[int], *, whole_day: bool
    ) -> tuple[list[tuple[int, ...]], list[int]]:
        """A few neighbours taken out of their routes, or one route whole."""
        many = self.chance.randint(1, max(2, min(20, len(self.units) // 2)))
        seed = self.chance.randrange(len(self.units))
        served = {self.unit_of[t] for route in routes for t in route}
        whole = [route for route in routes if route]
        way = self.chance.random()
        if whole and whole_day:
            gone = [self.unit_of[t] for t in self.chance.choice(whole)]
        elif whole and way < 0.4:
            route = self.chance.choice(whole)
            at = self.chance.randrange(len(route))
            gone = [self.unit_of[t] for t in route[at : at + many]]
        else:
            gone = [u for u in self.near[seed] if u in served][:many]
        gone_set = set(gone)
        kept = [tuple(t for t in route if self.unit_of[t] not in gone_set) for route in routes]
        for crew in range(len(kept)):
            # Where a way round is shorter than the way straight on, a route with fewer stops can be the longer one.
            while self.route_cost(crew, kept[crew]) is None:
                lost = self.chance.randrange(len(kept[crew]))
                gone.append(self.unit_of[kept[crew][lost]])
                kept[crew] = (*kept[crew][:lost], *kept[crew][lost + 1 :])
        return kept, [*out, *gone]

    def _insert(
        self, routes: list[tuple[int, ...]], out: list[int], *, calm: bool, generous: bool = False, around: bool = False
    ) -> tuple[list[tuple[int, ...]], list[int]]:
        """Each unit where it costs least, or left out when nowhere worth it.

        calm : always the cheapest next; otherwise in an order drawn by chance, and now and then past a place.
        around : those around one of them first, one drawn by chance.
        generous : what is not worth its way, too: two far sites may be worth it together and neither alone.
        """
        routes, left = list(routes), []
        waiting = list(out)
        if calm:
            waiting.sort(key=lambda u: (-self._worth(u), self.units[u]))
        else:
            self.chance.shuffle(waiting)
            way = self.chance.random()
            if waiting and (around or way < 0.15):
                turn = {u: k for k, u in enumerate(self.near[waiting[0]])}
                waiting.sort(key=lambda u: turn.get(u, -1))
            elif way < 0.65:
                waiting.sort(key=lambda u: -self._worth(u) * self.chance.uniform(0.5, 1.5))
        for unit in waiting:
            best: tuple[int, int, tuple[int, ...]] | None = None
            for t in self.units[unit]:
                task = self.tasks[t]
                for crew, route in enumerate(routes):
                    if task.hands > self.crews[crew].hands:
                        continue
                    for cost, place in self._places(t, crew, route, blink=not calm):
                        if best is not None and cost >= best[0]:
                            break
                        made = (*route[:place], t, *route[place:])
                        whole, before = self.route_cost(crew, made), self.route_cost(crew, route)
                        if whole is not None and before is not None:
                            gain = whole - before
                            if best is None or gain < best[0]:
                                best = (gain, crew, made)
                            break
            if best is not None and (best[0] < 0 or generous or any(self.tasks[t].must for t in self.units[unit])):
                routes[best[1]] = best[2]
            else:
                left.append(unit)
        return routes, left

    def _prune(self, routes: list[tuple[int, ...]], out: list[int]) -> tuple[list[tuple[int, ...]], list[int]]:
        """Leave out, the worst first, what costs more than it is worth."""
        routes, left = list(routes), list(out)
        for crew in range(len(routes)):
            while True:
                route = routes[crew]
                without = [((*route[:k], *route[k + 1 :]), t) for k, t in enumerate(route) if not self.tasks[t].must]
                costs = [(cost, made, t) for made, t in without if (cost := self.route_cost(crew, made)) is not None]
                best = min(costs, default=None)
                if best is None or best[0] >= self.cost_of(crew, route):
                    break
                routes[crew] = best[1]
                left.append(self.unit_of[best[2]])
        return routes, left

    def _worth(self, unit: int) -> int:
        return max(NEVER_S if self.tasks[t].must else self.tasks[t].worth_s for t in self.units[unit])

    def _places(self, t: int, crew: int, route: tuple[int, ...], *, blink: bool) -> list[tuple[int, int]]:
        """Where a task can stand in a route, cheapest detour first: (detour and work less worth, place)."""
        d = self.d
        x, there, first, late, worth, weighs, _ = self.task_told[t]
        nodes, leave, latest, room = self._slots(crew, route)
        if weighs > room:
            return []
        found = []
        chance = self.chance.random
        for place in range(len(route) + 1):
            a, b = nodes[place], nodes[place + 1]
            begin = max(leave[place] + d[a][x], first)
            if begin > late or begin + there + d[x][b] > latest[place + 1] or (blink and chance() < 0.02):
                continue
            found.append((d[a][x] + d[x][b] - (d[a][b] if route else 0) + there - worth, place))
        found.sort()
        return found[:3]

    def _exchange(self, routes: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
        """2-opt within routes, and stretches of one to three tasks moved within and between, until none gains."""
        routes = list(routes)
        gained = True
        while gained:
            gained = any([self._two_opt(routes), self._or_opt(routes)])
        return routes

    def _better(self, crew: int, made: tuple[int, ...], than: int) -> bool:
        cost = self.route_cost(crew, made)
        return cost is not None and cost < than

    def _two_opt(self, routes: list[tuple[int, ...]]) -> bool:
        gained = False
        for crew in range(len(routes)):
            for i in range(len(routes[crew]) - 1):
                for j in range(i + 2, len(routes[crew]) + 1):
                    route = routes[crew]
                    if not self._shorter(crew, route, i, j):
                        continue
                    made = (*route[:i], *route[i:j][::-1], *route[j:])
                    if self._better(crew, made, self.cost_of(crew, route)):
                        routes[crew], gained = made, True
        return gained

    def cost_of(self, crew: int, route: tuple[int, ...]) -> int:
        """The cost of a route that can be kept."""
        cost = self.route_cost(crew, route)
        assert cost is not None
        return cost

    def _shorter(self, crew: int, route: tuple[int, ...], i: int, j: int) -> bool:
        """Whether turning a stretch around could gain: its two ends, with as much room as the way back differs."""
        d, home = self.d, self.crews[crew].node
        nodes = [home, *(self.tasks[t].node for t in route), home]
        a, b, c, e = nodes[i], nodes[i + 1], nodes[j], nodes[j + 1]
        change = d[a][c] + d[b][e] - d[a][b] - d[c][e]
        inner = sum(d[nodes[k + 1]][nodes[k]] - d[nodes[k]][nodes[k + 1]] for k in range(i + 1, j))
        return change + inner < 0

    def _or_opt(self, routes: list[tuple[int, ...]]) -> bool:
        gained = False
        for long in (1, 2, 3):
            for giver in range(len(routes)):
                at = 0
                while at + long <= len(routes[giver]):
                    if self._move(routes, giver, at, long):
                        gained = True
                    else:
                        at += 1
        return gained

    def _move(self, routes: list[tuple[int, ...]], giver: int, at: int, long: int) -> bool:
        """Move a stretch to where it gains most."""
        d, route = self.d, routes[giver]
        piece, rest = route[at : at + long], (*route[:at], *route[at + long :])
        rest_cost = self.route_cost(giver, rest)
        if rest_cost is None:
            return False
        before = self.cost_of(giver, route)
        best: tuple[int, int, tuple[int, ...]] | None = None
        for taker in range(len(routes)):
            base = rest if taker == giver else routes[taker]
            base_cost = rest_cost if taker == giver else self.cost_of(taker, base)
            home = self.crews[taker].node
            nodes = [home, *(self.tasks[t].node for t in base), home]
            for way in (piece, piece[::-1]) if long > 1 else (piece,):
                first, last = self.tasks[way[0]].node, self.tasks[way[-1]].node
                inner = sum(d[self.tasks[x].node][self.tasks[y].node] for x, y in itertools.pairwise(way)) + sum(
                    self.tasks[t].there_s - self.tasks[t].worth_s for t in way
                )
                for place in range(len(base) + 1):
                    a, b = nodes[place], nodes[place + 1]
                    grown = d[a][first] + inner + d[last][b] - (d[a][b] if base else 0)
                    if rest_cost + grown >= before or (best is not None and grown + rest_cost - before >= best[0]):
                        continue
                    made = (*base[:place], *way, *base[place:])
                    cost = self.route_cost(taker, made)
                    if cost is None:
                        continue
                    gain = rest_cost + cost - base_cost - before
                    if gain < 0 and (best is None or gain < best[0]):
                        best = (gain, taker, made)
        if best is None:
            return False
        if best[1] != giver:
            routes[giver] = rest
        routes[best[1]] = best[2]
        return True
