"""The seam for sending readings on to a time-series server. Nothing is sent yet.

A forwarder reads what the store has, from where it stopped last time, and never holds up the kitchen: the
daemon doesn't depend on the network. What it must keep is in :class:`~rimekeeper.forwarding.seam.Forwarder`.
"""
