"""The results that pages and reports rely on."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import prefetch_related_objects

from apps.accounts.queries import the_lab
from apps.intake.models import Request, Specimen
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.results import RequestResult, assemble
from apps.methods.queries import repeatability_in_force


def results_of(requests: Iterable[Request]) -> dict[int, RequestResult]:
    """The results of these requests by their key, in six queries at most however many there are.

    A pair counts at a stage only when its original and its reading at that stage are both in force. Specimens set
    aside are left out. The verdict is on the reported figure.
    """
    requests = list(requests)
    prefetch_related_objects(requests, "method", "sample__job")
    by_request, by_specimen, by_pair = _rows_of(requests)
    tie, adopted = the_lab().tie, repeatability_in_force(request.method_id for request in requests)
    results = {}
    for request in requests:
        specimens = by_request[request.pk]
        for specimen in specimens:
            specimen.request = request
        pairs = [pair for specimen in specimens for pair in by_specimen[specimen.pk]]
        readings = [reading for pair in pairs for reading in by_pair[pair.pk]]
        results[request.pk] = assemble(
            request,
            specimens=specimens,
            pairs=pairs,
            readings=readings,
            tie=tie,
            adopted=adopted.get(request.method_id, {}),
        )
    return results


def _rows_of(requests: list[Request]) -> tuple[dict, dict, dict]:
    """Specimens by request, pairs by specimen, readings by pair, each knowing the row above it."""
    by_request, by_specimen, by_pair = defaultdict(list), defaultdict(list), defaultdict(list)
    for specimen in Specimen.objects.filter(request__in=requests).order_by("number"):
        by_request[specimen.request_id].append(specimen)
    specimens = {specimen.pk: specimen for rows in by_request.values() for specimen in rows}
    marked = BenchmarkPair.objects.filter(specimen__request__in=requests).select_related("point")
    for pair in marked.order_by("direction", "number"):
        pair.specimen = specimens[pair.specimen_id]
        by_specimen[pair.specimen_id].append(pair)
    pairs = {pair.pk: pair for rows in by_specimen.values() for pair in rows}
    readings = Reading.objects.filter(pair__specimen__request__in=requests).select_related("read_by", "voided_by")
    for reading in readings.order_by("stage", "id"):
        reading.pair = pairs[reading.pair_id]
        by_pair[reading.pair_id].append(reading)
    return by_request, by_specimen, by_pair
