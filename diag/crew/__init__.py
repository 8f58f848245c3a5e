"""Hands that share work: processes of this machine, or the workers of a Dask cluster by its address.

What they are given depends on the work alone, so that its result does not depend on who did it. May import: basics;
distributed where a cluster was asked for.
"""

from diag.crew.hands import ONE_AT_A_TIME, Crew, crew_of, default_processes, unpacked

__all__ = ["ONE_AT_A_TIME", "Crew", "crew_of", "default_processes", "unpacked"]
