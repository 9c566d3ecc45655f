#!/usr/bin/env python
import os
import sys
from pathlib import Path


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    if "demo" in sys.argv[1:2]:  # the demo never touches a real lab's file
        os.environ.setdefault("FULLING_DATA", str(Path(__file__).resolve().parent / ".data" / "demo"))
    if "sheet" in sys.argv[1:2]:  # serves no page and signs nothing: no key is made for it
        os.environ.setdefault("FULLING_SECRET_KEY", "a measure sheet needs no key")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
