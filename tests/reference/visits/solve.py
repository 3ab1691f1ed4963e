"""Invented instances of visit planning and their optima by a solver that knows nothing of this program.

Each instance is windows, minutes, skills and costs; nothing in it comes from real sites. The mixed-integer programme
below is solved by HiGHS through scipy.optimize.milp. Run it with Python and SciPy, for all instances or those named; it writes the *.json beside it.

A job j is done on one day within its window by one technician: x[j,d,t]. A site is visited by at most one technician a
day: v[s,d,t]. The sites of an area that a technician visits on a day share a trip, whose way is the longest and dearest
of theirs. Minutes of work and ways fit into the technician's day, minutes at a site into what it allows on that day.
A job's cost is a straight line from `cost_first` on its first day to `cost_last` on its last.
"""
import json, random, sys
import numpy as np
import scipy
from scipy.optimize import milp, LinearConstraint, Bounds
from scipy.sparse import lil_matrix


def solve(inst):
    D, T, S = inst["days"], inst["technicians"], inst["sites"]
    names, cost = [], []

    def var(c):
        names.append(None); cost.append(c)
        return len(cost) - 1
    rows = []  # (coefficients, low, high)
    v = {}
    for s, site in enumerate(S):
        for d in range(D):
            for t, tech in enumerate(T):
                if site["access"][d] > 0 and tech["minutes"][d] > 0:
                    v[s, d, t] = var(0.0)
    work = {}   # (d, t) -> list of (var, minutes)
    at_site = {}
    for s, site in enumerate(S):
        for j in site["jobs"]:
            options = []
            for d in range(j["first"], j["last"] + 1):
                span = max(j["last"] - j["first"], 1)
                c = j["cost_first"] + (j["cost_last"] - j["cost_first"]) * (d - j["first"]) / span
                for t, tech in enumerate(T):
                    if (s, d, t) not in v or (j["skill"] and j["skill"] not in tech["skills"]):
                        continue
                    x = var(c)
                    options.append(x)
                    rows.append(({x: 1, v[s, d, t]: -1}, -np.inf, 0))
                    work.setdefault((d, t), []).append((x, j["minutes"]))
                    at_site.setdefault((s, d), []).append((x, j["minutes"]))
            rows.append(({x: 1 for x in options}, 1, 1))
    for s in range(len(S)):
        for d in range(D):
            there = [v[s, d, t] for t in range(len(T)) if (s, d, t) in v]
            if there:
                rows.append(({x: 1 for x in there}, 0, 1))
    for (s, d), xs in at_site.items():
        rows.append((dict(xs), -np.inf, S[s]["access"][d]))
    areas = {}
    for s, site in enumerate(S):
        areas.setdefault(site["area"], []).append(s)
    for key in ("way_minutes", "way_cost"):
        for a, members in areas.items():
            ordered = sorted(members, key=lambda s: S[s][key])
            for d in range(D):
                for t in range(len(T)):
                    before = 0
                    for k, s in enumerate(ordered):
                        rent = S[s][key] - before
                        before = S[s][key]
                        if rent <= 0:
                            continue
                        users = [v[q, d, t] for q in ordered[k:] if (q, d, t) in v]
                        if not users:
                            continue
                        z = var(rent if key == "way_cost" else 0.0)
                        for u in users:
                            rows.append(({z: 1, u: -1}, 0, np.inf))
                        if key == "way_minutes":
                            work.setdefault((d, t), []).append((z, rent))
    for (d, t), xs in work.items():
        rows.append((dict(xs), -np.inf, T[t]["minutes"][d]))
    n = len(cost)
    A = lil_matrix((len(rows), n))
    for i, (coefficients, _, _) in enumerate(rows):
        for x, c in coefficients.items():
            A[i, x] = c
    answer = milp(np.array(cost), constraints=LinearConstraint(A.tocsr(), [r[1] for r in rows], [r[2] for r in rows]),
                  integrality=np.ones(n), bounds=Bounds(0, 1), options={"time_limit": 240, "mip_rel_gap": 1e-9})
    if answer.x is None:
        return None
    return {"optimum": round(float(answer.fun), 6), "proven_bound": round(float(answer.mip_dual_bound), 6)}


def draw(name, seed, days, sites, areas, technicians, jobs, tight=1.0):
    r = random.Random(seed)
    T = []
    for k in range(technicians):
        away = set(r.sample(range(days), days // 12))
        T.append({"minutes": [0 if d % 7 in (5, 6) or d in away else int(420 * tight) for d in range(days)],
                  "skills": ["electrician"] if k == 0 else []})
    S = []
    for s in range(sites):
        access, d = [1440] * days, 0
        visit_days = set(range(5)) if r.random() < 0.5 else {0, 2, 4}
        for d in range(days):
            if d % 7 not in visit_days or r.random() < 0.1:
                access[d] = 0
            elif r.random() < 0.2:
                access[d] = 360
        J = []
        for _ in range(jobs):
            length = r.choice([4, 7, 10, 14, 21])
            first = r.randrange(0, max(days - length, 1))
            low, high = round(r.uniform(0, 4), 2), round(r.uniform(0, 14), 2)
            waits = r.random() < 0.8
            J.append({"first": first, "last": min(first + length, days - 1), "minutes": r.choice([10, 20, 35, 45, 90, 150]),
                      "skill": "electrician" if r.random() < 0.15 else None,
                      "cost_first": high if waits else low, "cost_last": low if waits else high})
        S.append({"area": s % areas, "way_minutes": 20 + 5 * (s % 5), "way_cost": round(9 + 3.5 * (s % 5), 2), "access": access, "jobs": J})
    return {"name": name, "days": days, "technicians": T, "sites": S}


wanted = [("one-site-%d" % k, dict(sites=1, areas=1, technicians=1 + k % 2, jobs=8 + 2 * k, days=42 + 7 * k, tight=[1.0, 0.6, 0.5][k % 3])) for k in range(8)]
wanted += [("fleet-%d" % k, dict(sites=3 + k, areas=1 + k % 2, technicians=1 + k % 2, jobs=7, days=35 + 7 * (k % 2), tight=[1.0, 0.8][k % 2])) for k in range(5)]
# Days so short that the work of an area needs several trips.
wanted += [("crowded-%d" % k, dict(sites=4 + k, areas=1, technicians=1 + k % 2, jobs=5, days=21, tight=[0.5, 0.4, 0.5][k])) for k in range(3)]
for name, how in wanted:
    if sys.argv[1:] and name not in sys.argv[1:]:
        continue
    for seed in range(100, 200):
        inst = draw(name, seed + hash(name) % 1 + sum(map(ord, name)), **how)
        found = solve(inst)
        if found:
            break
    inst["solver"] = f"HiGHS through scipy.optimize.milp, SciPy {scipy.__version__}"
    inst.update(found)
    print(name, found, flush=True)
    with open(name + ".json", "w") as f:
        json.dump(inst, f, separators=(",", ":"))
        f.write("\n")
