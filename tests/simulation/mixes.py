"""The invented mixes of Slipway Ices."""

from rimekeeper.core.plan import MixPlan

CUSTARD = MixPlan(water=60.0, fat=11.0, msnf=9.0, sucrose=13.0, syrup_solids=3.0, other_solids=4.0)
SHERBET = MixPlan(water=68.0, fat=2.0, msnf=4.0, sucrose=18.0, monosaccharides=3.0, other_solids=5.0)
GUELPH = MixPlan(water=60.0, fat=12.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0)
"""The worked example of science.md section 7 (H. D. Goff, University of Guelph, ice-cream notes)."""
