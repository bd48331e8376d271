"""Probes: lag against its closed form, resolution, noise."""

import numpy as np
import pytest

from rimekeeper.simulation.instruments import IN_AIR, IN_MIX, Probe, ProbeBuild


def test_lag_on_a_ramp_is_tau_times_rate():
    # science.md section 5: tau 30 s on 2 K/min -> 1.000 K behind.
    probe = Probe(ProbeBuild(30.0, 0.0, 0.001), 20.0, np.random.default_rng(1))
    truth = 20.0
    for _ in range(6_000):
        truth += 2.0 / 600.0
        probe.step(0.1, truth)
    assert truth - probe.celsius == pytest.approx(1.0, abs=0.005)


def test_step_response_reaches_half_at_0_693_tau():
    # science.md section 5: tau = t50 / 0.693 for a first-order probe.
    probe = Probe(ProbeBuild(40.0, 0.0, 0.001), 0.0, np.random.default_rng(1))
    probe.step(40.0 * 0.693147, 100.0)
    assert probe.celsius == pytest.approx(50.0, abs=0.01)


@pytest.mark.parametrize("build", [IN_MIX, IN_AIR])
def test_it_says_only_what_it_can_resolve(build):
    probe = Probe(build, 4.03, np.random.default_rng(2))
    said = np.array([probe.read() for _ in range(500)])
    steps = said / build.resolution
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    assert abs(said.mean() - 4.03) < build.resolution / 2
    assert said.std() < build.noise + build.resolution
