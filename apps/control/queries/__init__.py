"""What the pages of control ask."""

from apps.control.queries.checks import Series, check_page, overview, points_of, series_of, washed_loads

__all__ = ["Series", "check_page", "overview", "points_of", "series_of", "washed_loads"]
