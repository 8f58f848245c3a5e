"""Statements of the trade, crossed with engines: what a master technician would say, put to the whole reasoner."""
