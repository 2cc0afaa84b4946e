"""How much more likely a pair of records is one well than two.

The score of a pair is the log of the odds that both describe one well, built
as Fellegi and Sunter (1969) do: for each thing that both records state, how
often one well's two records agree so, over how often the records of two wells
do. Two wells may be strangers, which agree by chance, as counted in the data;
or siblings, drilled by one driller for one owner, which stand side by side
and are alike in depth, date, casing and owner. The place counts likewise: on
the centre of a section stand dozens of strangers, so that wells on one point
are never one well for standing there.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.special import expit, logit

from wellrecords.matching.agreement import DEGREES, compare
from wellrecords.matching.evidence import Evidence
from wellrecords.matching.hypotheses import Chances, Relations
from wellrecords.matching.rivals import weigh_rivals
from wellrecords.matching.settings import MatchingSettings
from wellrecords.schema import WELL_USES

BATCH_USES = ("monitoring", "test", "geothermal", "other")
"""Wells of these uses are drilled several at a time, alike in depth, date and owner."""
UNSEEN_SIBLINGS, UNSEEN_IN_ONE_SOURCE, UNSEEN_IN_A_BATCH = 0.12, 0.3, 3.0
"""Siblings that a record has, on average, besides those seen: in another source, in its own, in a test field."""
SEEN_SIBLINGS_COUNT = 0.5
"""A sibling seen in one source is in the other as often as not."""
MOST_SIBLINGS = 4.0
UNLIKE_SIBLINGS = -3.0
HOPELESS = 7.0
"""A pair that scores so much below the threshold by common practice is not looked at again."""
RIVALS = 4.0
"""Pairs so much below the threshold still contend with those above it."""
LEARN_ROUNDS = 3
LEAST_CHANCE, MOST_CHANCE = 0.002, 0.9
WORTH_RECORDS = 50.0
"""The settings' chance of a partner counts as so many records seen."""
PAIRS_A_BATCH = 500_000


@dataclass(frozen=True)
class Scored:
    """Pairs that may be one well.

    Attributes
    ----------
    pairs : ndarray of int, shape (m, 2)
    score : ndarray, shape (m,)
        Log odds.
    later : ndarray of int, shape (m,)
        0 where both records describe one state, 1 where the second of the
        pair is the later state, -1 where the first is.
    """

    pairs: np.ndarray
    score: np.ndarray
    later: np.ndarray


@dataclass(frozen=True)
class _Weighed:
    """Pairs, and all that their score is made of."""

    pairs: np.ndarray
    later: np.ndarray
    twice: np.ndarray
    relation: np.ndarray
    degree: np.ndarray
    place: np.ndarray
    strangers: np.ndarray
    siblings: np.ndarray
    expected: np.ndarray

    def score(self, chances: Chances, partner: np.ndarray) -> np.ndarray:
        one_well = partner[self.relation] + self.place + chances.of_one_well(self.degree, self.relation)
        score = one_well - self.strangers - np.logaddexp(0.0, self.siblings + np.log(self.expected))
        return np.where(np.isneginf(self.place), -np.inf, score)

    @classmethod
    def stacked(cls, parts: list[_Weighed]) -> _Weighed:
        return cls(**{one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(cls)})

    def take(self, rows: np.ndarray) -> _Weighed:
        return _Weighed(**{one.name: getattr(self, one.name)[rows] for one in fields(self)})


class Scorer:
    """Scores pairs, by what it learnt from them.

    Parameters
    ----------
    evidence : Evidence
    settings : MatchingSettings
    """

    def __init__(self, evidence: Evidence, settings: MatchingSettings) -> None:
        self._evidence, self._settings = evidence, settings
        self._relations = Relations(len(evidence.shared_permits))
        self._chances = Chances(self._relations)
        self._partner = np.full(self._relations.count, logit(settings.chance_earlier_state))
        self._partner[self._relations.across] = logit(settings.chance_other_source)
        self._partner[self._relations.filed_twice] = logit(settings.chance_same_source)
        self._seen = np.zeros(len(evidence.source))

    def learn(self, pairs: np.ndarray) -> Scored:
        """Score pairs, and learn from them how the sources agree and overlap.

        Parameters
        ----------
        pairs : ndarray of int, shape (m, 2)
            All pairs worth a score.

        Returns
        -------
        Scored
            The pairs not far below the threshold, and all above it.
        """
        evidence, settings, relations = self._evidence, self._settings, self._relations
        parts = []
        batches = [pairs[start : start + PAIRS_A_BATCH] for start in range(0, max(len(pairs), 1), PAIRS_A_BATCH)]
        # Most of the work is done outside Python's lock, so threads run side by side.
        with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
            promising = list(pool.map(self._promising, batches))
        for batch in promising:
            weighed = self._weigh(batch, evidence)
            self._seen += _siblings_seen(weighed, len(self._seen))
            hopeful = weighed.score(self._chances, self._partner) >= settings.threshold - HOPELESS
            parts.append(weighed.take(np.flatnonzero(hopeful)))
        weighed = _with_siblings_seen(_Weighed.stacked(parts), self._seen)
        score = weighed.score(self._chances, self._partner)
        for _ in range(LEARN_ROUNDS):
            against_rivals, _ = weigh_rivals(weighed.pairs, score, weighed.later, evidence.source, settings.threshold)
            chance = expit(against_rivals)
            self._chances.learn(weighed.degree, weighed.relation, chance)
            share = logit(_overlap(weighed, chance, evidence, settings))
            self._partner[relations.across] = share[relations.across]
            self._partner[relations.later] = share[relations.later]
            score = weighed.score(self._chances, self._partner)
        likely = score >= settings.threshold - RIVALS
        return Scored(weighed.pairs[likely], score[likely], weighed.later[likely])

    def score(self, pairs: np.ndarray, evidence: Evidence) -> np.ndarray:
        """Score pairs by fuller evidence, with what was learnt before."""
        weighed = self._weigh(pairs, evidence)
        return _with_siblings_seen(weighed, self._seen).score(self._chances, self._partner)

    def _promising(self, pairs: np.ndarray) -> np.ndarray:
        """Return the pairs of which owners and addresses are worth comparing.

        These take longest, and where all else speaks against a pair, or for
        strangers, they seldom turn it; one and the same address may.
        """
        weighed = self._weigh(pairs, self._evidence, words=False)
        score = weighed.score(self._chances, self._partner)
        like_siblings = weighed.twice & (weighed.siblings + np.log(weighed.expected) >= UNLIKE_SIBLINGS)
        address = self._evidence.address[pairs[:, 0]]
        same_address = (address >= 0) & (address == self._evidence.address[pairs[:, 1]])
        return pairs[(score >= self._settings.threshold - HOPELESS) | like_siblings | same_address]

    def _weigh(self, pairs: np.ndarray, evidence: Evidence, *, words: bool = True) -> _Weighed:
        a, b = pairs[:, 0], pairs[:, 1]
        later = evidence.later[b].astype(np.int8) - evidence.later[a].astype(np.int8)
        relation = self._relations.of(evidence.source[a], evidence.source[b], later)
        twice = (later == 0) & (evidence.source[a] == evidence.source[b])
        agreement = compare(a, b, evidence, later, self._settings.days_apart, words=words)
        place, beside = evidence.places.compare(a, b)
        in_batches = np.isin(np.arange(len(WELL_USES)), [WELL_USES.index(use) for use in BATCH_USES])
        batch = in_batches[evidence.use[a]] & in_batches[evidence.use[b]]
        # Wells of one test field are alike in everything; only one number makes two such records one well.
        same_record = agreement.degree["number"] == DEGREES["number"].index("same")
        place = np.where(twice & batch & ~same_record, -np.inf, place)
        strangers = np.zeros(len(a))
        for share in agreement.strangers.values():
            strangers += np.log(share)
        siblings = beside + self._chances.of_siblings(agreement) - strangers
        unseen = np.where(twice, UNSEEN_IN_ONE_SOURCE, UNSEEN_SIBLINGS)
        expected = np.where(batch, UNSEEN_IN_A_BATCH, unseen)
        return _Weighed(pairs, later, twice, relation, agreement.degrees(), place, strangers, siblings, expected)


def _siblings_seen(weighed: _Weighed, count: int) -> np.ndarray:
    """Return how many siblings each record has in its own source, as far as its pairs there look like it."""
    inside = weighed.twice
    looks = expit(weighed.siblings[inside] + np.log(weighed.expected[inside]))
    return np.bincount(weighed.pairs[inside].ravel(), weights=np.repeat(looks, 2), minlength=count)


def _with_siblings_seen(weighed: _Weighed, seen: np.ndarray) -> _Weighed:
    """Expect siblings where a record has some in its own source: in a subdivision, not on a farm."""
    itself = np.where(weighed.twice, expit(weighed.siblings + np.log(weighed.expected)), 0.0)
    around = np.maximum(seen[weighed.pairs[:, 0]], seen[weighed.pairs[:, 1]]) - itself
    return replace(weighed, expected=weighed.expected + SEEN_SIBLINGS_COUNT * np.clip(around, 0.0, MOST_SIBLINGS))


def _overlap(weighed: _Weighed, chance: np.ndarray, evidence: Evidence, settings: MatchingSettings) -> np.ndarray:
    """Return, by relation, how likely a record (of two sources, one of the smaller) has its partner in the other."""
    source, sources = evidence.source, len(evidence.shared_permits)
    matched = np.zeros((2, sources, sources))
    for one, other, earlier in ((0, 1, 1), (1, 0, -1)):
        # A first state is no later one's partner, but the other way round.
        seeks = weighed.later != earlier
        record, there = weighed.pairs[seeks, one], source[weighed.pairs[seeks, other]]
        state = (weighed.later[seeks] == 0).astype(np.int64)
        key, place = np.unique((record * sources + there) * 2 + state, return_inverse=True)
        # Each record is counted once, however many it fits.
        once = np.minimum(np.bincount(place, weights=chance[seeks], minlength=len(key)), 1.0)
        np.add.at(matched, (key % 2, source[key // 2 // sources], key // 2 % sources), once)
    records = np.stack([np.bincount(source[evidence.later], minlength=sources), np.bincount(source, minlength=sources)])
    usual = np.array([settings.chance_earlier_state, settings.chance_other_source])
    share = (matched + WORTH_RECORDS * usual[:, None, None]) / (records + WORTH_RECORDS)[:, :, None]
    share[1] = np.maximum(share[1], share[1].T)
    return np.clip(share, LEAST_CHANCE, MOST_CHANCE).ravel()
