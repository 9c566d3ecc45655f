from apps.methods.views.acts import act_on_scope, copy, figure, retire, take_back
from apps.methods.views.pages import drying, drying_list, extra, method, method_list, points, wash, wash_list

__all__ = [
    "act_on_scope",
    "copy",
    "drying",
    "drying_list",
    "extra",
    "figure",
    "method",
    "method_list",
    "points",
    "retire",
    "take_back",
    "wash",
    "wash_list",
]
