"""Fault runs: the house falls in the middle of work, again and again, and must lose nothing and double nothing.

    tests/faults/run --rounds 50                 # everything: web, database, worker, and the desk's SQLite
    tests/faults/run --rounds 200 --only database

Ends with a summary, and with 1 when anything was lost.
"""

import argparse
import os
import random
import sys
import time

import django

from tests.faults.house import CARELESS, DURABLE, Desk, House, Server

KINDS = {"server": ("web", "database", "worker"), "desk": ("desk",)}


def asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests/faults/run", description=__doc__.split("\n\n")[0])
    parser.add_argument("house", choices=KINDS, help="what falls: the lab's server or the desk's one process")
    parser.add_argument("--rounds", type=int, default=50, help="of each kind (default 50)")
    parser.add_argument("--only", action="append", choices=[kind for kinds in KINDS.values() for kind in kinds])
    parser.add_argument("--chance", type=int, default=26, help="another number: other moments")
    parser.add_argument("--hurry", action="store_true", help="do not wait for the worker's lease to run out")
    parser.add_argument(
        "--careless", action="store_true", help="a database that answers before it has written: losses must be found"
    )
    return parser.parse_args()


def main() -> int:
    wanted = asked()
    kinds = [kind for kind in KINDS[wanted.house] if not wanted.only or kind in wanted.only]
    if not kinds:
        return 0
    began = time.monotonic()
    house = Desk() if wanted.house == "desk" else Server(CARELESS if wanted.careless else DURABLE)
    try:
        house.lay_out()
        open_book(house)
        wrong = [fault for kind in kinds for fault in run(kind, house, wanted)]
    finally:
        house.clear_up()
    say(f"{wanted.house}: {time.monotonic() - began:.0f} s in all")
    return 1 if wrong else 0


def say(line: str) -> None:
    print(line, flush=True)


def open_book(house: House) -> None:
    """This run reads and prepares with the rights of the pages. Passwords are never asked, so any hash will do."""
    for name in [name for name in os.environ if name.startswith("FULLING_")] + ["DATABASE_URL"]:
        os.environ.pop(name, None)
    os.environ |= {**house.environment, "DJANGO_SETTINGS_MODULE": "labsite.settings"}
    from django.conf import settings

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    django.setup()


def run(kind: str, house: House, wanted: argparse.Namespace) -> list[str]:
    """All rounds of one kind. Gives what was wrong."""
    from tests.faults import kills, rounds, work

    chance, tally = random.Random(f"{kind} {wanted.chance}"), rounds.Tally(kind)
    falls = {"web": kills.WEB, "database": kills.DATABASE, "desk": kills.DESK}.get(kind, [])
    with house.running(house.worker if kind == "worker" else house.web):
        if kind != "worker":
            house.wait_until_well()
        cast = people(house)
        for number in range(wanted.rounds):
            if falls:
                line = rounds.writing(house, cast, falls[number % len(falls)], chance, tally)
            else:
                line = rounds.filing(house, cast, chance, tally)
            say(f"{kind:<8} {number + 1:>3}/{wanted.rounds}  {line}")
        if kind == "worker":
            say(rounds.all_filed(tally, wait=not wanted.hurry))
        tally.wrong += rounds.looked_at_again(tally)
        work.let_go()
    say(tally.told())
    return tally.wrong


def people(house: House):
    from apps.accounts.models import User
    from tests.cast import assemble
    from tests.faults.work import cast_that_is_there

    return cast_that_is_there() if User.objects.filter(username="bea").exists() else assemble()


if __name__ == "__main__":
    sys.exit(main())
