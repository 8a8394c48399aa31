"""Beside the way: a form that drags or locks a little, and the smallest changes that free it."""

from .offers import Ease, Offer, as_drawn, offer_ease

__all__ = ["Ease", "Offer", "as_drawn", "offer_ease"]
