"""Quantities to money: the price book, the cost as a distribution, prices and their risk."""

from wellrecords.bid.model import OUTCOMES, Bid, BidSettings, NoBid

__all__ = ["OUTCOMES", "Bid", "BidSettings", "NoBid"]
