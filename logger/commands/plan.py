"""What to buy and where to stop: containers for a charge, in the order of use.

A placard is written as the label prints it, a container as it stands on the shelf:

  --placard    "1.26-1.39 lb"  "620 g +/- 15 g"  "22 oz"  "1 lb 6 oz"  "0,62 kg"
  --container  "12 oz"                          full, as sold
               "340 g gross 520 g"              what the scale shows with it on the platform
               "340 g tare 180 g"               what it weighs empty
               "12 oz left 5 oz"                part-used, by what is said; it is used first
               "30 lb gross 9.4 kg tare 6.2 kg" part-used, by weight; it is used first
"""

from __future__ import annotations

import argparse
import json

HELP = "what to buy, and the reading to stop at, container by container"

DEFAULT_REFRIGERANT = "R-134a"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--placard", required=True, metavar="TEXT", help="the amount on the vehicle's label")
    parser.add_argument(
        "--container", required=True, action="append", metavar="TEXT", help="one at hand; repeat it for more"
    )
    parser.add_argument("--hose-ml", type=float, default=0.0, metavar="N", help="inner volume of the charging hose, ml")
    parser.add_argument("--refrigerant", default=DEFAULT_REFRIGERANT, metavar="NAME", help="default %(default)s")
    parser.add_argument("--json", action="store_true", help="the plan as JSON, in grams")


def run(args: argparse.Namespace) -> int:
    from logger.containers_text import parse_container
    from logger.measure.plan import hose_vapour_g, plan_charge
    from logger.plan_text import plan_as_json, plan_as_text
    from logger.quantities import parse_placard, unit_of

    placard = parse_placard(args.placard)
    containers = [parse_container(text) for text in args.container]
    residue_g = hose_vapour_g(args.hose_ml, args.refrigerant)
    plan = plan_charge(placard, containers, args.hose_ml, residue_g, args.refrigerant)
    if args.json:
        print(json.dumps(plan_as_json(plan), indent=2, allow_nan=False))
    else:
        print(plan_as_text(plan, unit_of(args.placard)))
    return 0
