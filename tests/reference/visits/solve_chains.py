"""Invented instances of one site whose work recurs over a year, and their optima by a solver that knows nothing of this
program.

Each chain is done again and again: its first time within `first` to `due`; a time done on day d is due again on day
d + `again` and may be done from `early` days before that; the chain ends with the first time that would be due behind the
last day. Doing it on day x costs `slope` for each day x lies behind its due day (negative slope: each day before the due day
throws `-slope` away; positive: each day of waiting adds to the risk) and `base` besides. Nothing in it comes from real
sites. The programme below is a flow along each chain's days, joined by the visits that carry it, and is solved by HiGHS.
Run it with Python and highspy; it writes the chained-*.json beside it.
"""
import json, random, sys
import highspy
import numpy as np


def solve(inst, seconds):
    days, people, ways = inst["days"], inst["technicians"], inst["way_cost"]
    h = highspy.Highs()
    h.setOptionValue("output_flag", False)
    h.setOptionValue("time_limit", float(seconds))
    h.setOptionValue("mip_rel_gap", 1e-9)
    h.setOptionValue("mip_abs_gap", 1e-7)
    h.setOptionValue("threads", 1)
    columns = []  # cost, whole number

    def column(cost, whole):
        columns.append((cost, whole))
        return len(columns) - 1
    rows = []  # low, high, {column: coefficient}
    open_days = [d for d in range(days) if inst["access"][d] > 0]
    visit = {(d, t): column(ways, True) for d in open_days for t, one in enumerate(people) if one["minutes"][d] > inst["way_minutes"]}
    for d in open_days:
        rows.append((0, 1, {visit[d, t]: 1 for t in range(len(people)) if (d, t) in visit}))
    load = {key: {} for key in visit}
    for chain in inst["chains"]:
        able = {d: [t for t, one in enumerate(people) if (d, t) in visit and (not chain["skill"] or chain["skill"] in one["skills"])]
                for d in open_days}
        able = {d: who for d, who in able.items() if who and inst["access"][d] >= chain["minutes"]}
        done = {d: {t: column(0.0, True) for t in who} for d, who in able.items()}
        into = {d: {} for d in done}
        out = {d: {} for d in done}

        def arcs(first, due, source):
            found = {}
            for d in range(max(first, 0), min(due, days - 1) + 1):
                if d in done:
                    arc = column(chain["base"] + chain["slope"] * (d - due), False)
                    found[arc] = 1
                    into[d][arc] = 1
                    if source is not None:
                        out[source][arc] = 1
            return found
        start = arcs(chain["first"], chain["due"], None)
        if not start:
            return None
        rows.append((1, 1, start))
        for d in sorted(done):
            again = chain["again"]
            if again and d + again < days:
                arcs(max(d + again - chain["early"], d + 1), d + again, d)
        for d in done:
            here = {x: -1 for x in done[d].values()}
            rows.append((0, 0, {**into[d], **here}))
            if chain["again"] and d + chain["again"] < days:
                rows.append((0, 0, {**out[d], **here}))
            for t, x in done[d].items():
                rows.append((-np.inf, 0, {x: 1, visit[d, t]: -1}))
                load[d, t][x] = chain["minutes"]
    for (d, t), work in load.items():
        if work:
            rows.append((-np.inf, min(inst["access"][d], people[t]["minutes"][d] - inst["way_minutes"]), work))
    for cost, whole in columns:
        h.addVar(0.0, 1.0)
    for index, (cost, whole) in enumerate(columns):
        h.changeColCost(index, cost)
        if whole:
            h.changeColIntegrality(index, highspy.HighsVarType.kInteger)
    for low, high, row in rows:
        h.addRow(low, high, len(row), np.array(list(row.keys())), np.array(list(row.values()), dtype=float))
    h.run()
    if h.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    return {"optimum": round(h.getInfo().objective_function_value, 6), "proven_bound": round(h.getInfo().mip_dual_bound, 6)}


def draw(name, seed, days, people, chains, visit_days, hours):
    r = random.Random(seed)
    technicians = []
    for k in range(people):
        away = set(range(s := r.randrange(days), s + 10))
        technicians.append({"minutes": [0 if d % 7 in (5, 6) or d in away else hours for d in range(days)],
                            "skills": ["electrician"] if k == 0 else []})
    access = [0 if d % 7 not in visit_days or r.random() < 0.12 else r.choice([1440, 1440, 360]) for d in range(days)]
    all_chains = []
    for k in range(chains):
        again = r.choice([28, 30, 42, 60, 61, 90, 91, 120, 182, 365, None])
        length = again or 240
        early = max(length // 4, 1)
        due = r.randrange(8, min(length, days - 10))
        worth = r.uniform(5, 60)
        risk = r.choice([0, 0, 0, 1])
        slope = round(-worth / length + risk * r.uniform(0.2, 1.5), 4)
        all_chains.append({"first": max(due - early, 0), "due": due, "early": early, "again": again, "minutes": r.choice([15, 20, 30, 45, 60, 90]),
                           "skill": "electrician" if r.random() < 0.2 else None, "base": round(risk * (max(slope, 0) * early + r.uniform(2, 9)), 2), "slope": slope})
    return {"name": name, "days": days, "technicians": technicians, "way_minutes": r.choice([20, 40, 60]),
            "way_cost": round(r.uniform(14, 38), 2), "access": access, "chains": all_chains}


WANTED = {
    "chained-0": dict(days=364, people=1, chains=4, visit_days=(0, 3), hours=420),
    "chained-1": dict(days=364, people=2, chains=6, visit_days=(0, 3), hours=420),
    "chained-2": dict(days=364, people=2, chains=8, visit_days=(2,), hours=420),
    "chained-3": dict(days=280, people=1, chains=8, visit_days=(1, 3), hours=420),
    "chained-4": dict(days=224, people=1, chains=5, visit_days=(0, 2, 4), hours=420),
    # Short days: not all that falls together fits into one visit.
    "chained-5": dict(days=280, people=2, chains=6, visit_days=(0, 3), hours=150),
}

if __name__ == "__main__":
    for name in sys.argv[1:] or WANTED:
        for seed in range(40):
            inst = draw(name, sum(map(ord, name)) * 100 + seed, **WANTED[name])
            found = solve(inst, 150)
            if found:
                break
        else:
            sys.exit(f"{name}: no instance was solved")
        version = highspy.Highs().version()
        inst["solver"] = f"HiGHS {version} through highspy"
        inst.update(found)
        print(name, seed, found, flush=True)
        with open(name + ".json", "w") as f:
            json.dump(inst, f, separators=(",", ":"))
            f.write("\n")
