"""Several people at once, each on a connection of their own."""

import contextvars
import threading
from collections.abc import Callable
from typing import Any

from django.db import connection


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Start all acts together; what each returned or raised, in their order. For tests marked race, with
    `transactional_db`. The house's clock is the caller's in every thread; on PostgreSQL each is the web role."""
    outcomes: list[Any] = [None] * len(acts)
    gate = threading.Barrier(len(acts))

    def run(place: int, act: Callable[[], Any]) -> None:
        try:
            connection.ensure_connection()
            gate.wait(30)
            outcomes[place] = act()
        except Exception as error:
            outcomes[place] = error
        finally:
            connection.close()

    threads = [
        threading.Thread(target=contextvars.copy_context().run, args=(run, place, act))
        for place, act in enumerate(acts)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return outcomes
