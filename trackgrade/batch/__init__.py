"""Many flights: what the work on one is, who does it (this machine or a cluster), what is done already."""
