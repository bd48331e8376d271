"""Calibration of a probe: points measured against something known, the correction they give, and what is left unsure.

| module | what it is |
| --- | --- |
| ``record`` | what is written down: points, calibrations, plunge tests; never changed afterwards |
| ``reference`` | the temperatures of the ice point and of boiling water at a pressure or altitude |
| ``steadiness`` | whether a probe has settled, by a stated criterion |
| ``correction`` | points to correction; a corrected temperature |
| ``uncertainty`` | expanded uncertainty (k = 2) of a corrected temperature |
"""
