from harpkeys.plan.clusters import Settled


def solve_together(members, found, floor, table, effort):
    return Settled(found, sum(p.cost for p in found.values()), floor, "solver")
