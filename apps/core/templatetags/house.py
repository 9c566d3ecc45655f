"""What templates print with."""

from django import template

register = template.Library()
