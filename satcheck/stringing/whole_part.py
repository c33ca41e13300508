"""Whether the part as a whole has enough resin, from the plans of its views."""

from collections.abc import Mapping

from satcheck.stringing.plan import SHORT, Plan


def whole_part(plans: Mapping[str, Plan]) -> str:
    """Say in one sentence whether the part has enough resin, and which view should feed which.

    Views count by what was judged of them; what two views both show counts twice. Like the plans,
    this is an order of dry and wet, no weight of resin.

    Parameters
    ----------
    plans : mapping of str to Plan
        The newest plan of each view.
    """
    seen = {view: plan for view, plan in plans.items() if plan.judged > 0}
    if not seen:
        return "No view of the part has been judged yet."
    area = sum(plan.judged for plan in seen.values())
    net = sum(plan.shortfall * plan.judged for plan in seen.values()) / area
    head = _head(tuple(seen))
    if net >= SHORT:
        return f"{head} the part lacks resin as a whole: add some."
    if net <= -SHORT:
        return f"{head} the part has more resin than it needs: string some out."
    dry = max(seen, key=lambda view: seen[view].shortfall)
    wet = min(seen, key=lambda view: seen[view].shortfall)
    if seen[dry].shortfall > 0 > seen[wet].shortfall and (
        seen[dry].shortfall - seen[wet].shortfall >= SHORT
    ):
        return (
            f"{head} the part has enough resin: string it round from the {wet} to the {dry} view."
        )
    return f"{head} the part has enough resin."


def _head(views: tuple[str, ...]) -> str:
    if len(views) == 1:
        return f"By the {views[0]} view alone"
    return f"By the {len(views)} views judged"
