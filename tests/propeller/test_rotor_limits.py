"""Rotor loads in the limits that have closed forms, and against published theory."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rotors import AIR, blade_of, linear_section

from blownwing.propeller.disc import disc_loads
from blownwing.propeller.rotor import axial_inflow, build_rotor, coefficients, solve_rotor


def uniform_disc_rotor(speed, induced, omega, lift=0.5, n=60):
    """A frictionless rotor, losses off, designed for one induced velocity over the whole disc."""
    section = linear_section(drag=1e-12)
    x = np.linspace(0.2, 1.0, 4001)
    swirl_root = np.sqrt((omega * x) ** 2 - 4.0 * induced * (speed + induced))
    v = 0.5 * (omega * x - swirl_root)  # v (Ωr − v) = u (V + u): the force is normal to W
    phi = np.arctan2(speed + induced, omega * x - v)
    w = np.hypot(speed + induced, omega * x - v)
    sigma = 4.0 * (speed + induced) * induced / (w**2 * lift * np.cos(phi))
    blade = blade_of(x, sigma * 2.0 * math.pi * x / 6, phi + lift / (2.0 * math.pi), section)
    return build_rotor(blade, 2.0, 6, n, tip_loss=False, hub_loss=False)


@pytest.mark.parametrize(("speed", "induced"), [(30.0, 0.3), (30.0, 8.0), (0.0, 9.0)])
def test_uniform_load_is_the_actuator_disc(speed, induced):
    # Glauert (1935) in Durand IV, division L: T = 2ρA(V + v)v; the swirl costs power that falls as
    # 1/Ω².
    excess = []
    for omega in (300.0, 600.0):
        rotor = uniform_disc_rotor(speed, induced, omega)
        loads = solve_rotor(rotor, AIR, omega, 0.0, "clockwise", axial_inflow(rotor, speed))
        area = math.pi * (rotor.radius**2 - rotor.hub_radius**2)
        disc = disc_loads(loads.thrust, 2.0 * math.sqrt(area / math.pi), speed, AIR.density)
        assert_allclose(loads.axial_induced, induced, rtol=2e-5)
        assert_allclose(disc.induced_velocity, induced, rtol=1e-5)
        excess.append(loads.power / disc.power - 1.0)
    assert 0.0 < excess[1] < excess[0]
    assert_allclose(excess[0] / excess[1], 4.0, rtol=0.1)


@pytest.mark.parametrize(
    ("degrees", "thrust", "power"),
    [(5.0, 0.003001, 0.0001267), (8.0, 0.005859, 0.0003436), (12.0, 0.010142, 0.0007786)],
)
def test_hover_of_an_untwisted_rotor(degrees, thrust, power):
    # Gessow & Myers (1952), "Aerodynamics of the Helicopter": small-angle blade-element momentum
    # theory, λ(r) = (σa/16)(√(1 + 32θr/σa) − 1), σ = 0.1, a = 5.73, no losses, integrated
    # independently. Full angles and swirl account for up to 3 %.
    blade = blade_of([1e-6, 1.0], 0.1 * math.pi / 4, math.radians(degrees), linear_section(5.73))
    rotor = build_rotor(blade, 2.0, 4, 80, tip_loss=False, hub_loss=False)
    omega = 100.0
    loads = solve_rotor(rotor, AIR, omega, 0.0, "clockwise", axial_inflow(rotor, 0.0))
    unit = AIR.density * math.pi * omega**2
    assert_allclose(loads.thrust / unit, thrust, rtol=0.03)
    assert_allclose(loads.torque / unit, power, rtol=0.03)


ADKINS_LIEBECK = {
    # B = 2, D = 5.75 ft, hub 1 ft, 2400 rpm, 110 mph, 70 hp, sea level
    "speed": 110.0 * 5280.0 / 3600.0,
    "omega": 2400.0 * math.pi / 30.0,
    "radius": 5.75 / 2.0,
    "hub": 0.5,
    "power": 70.0 * 550.0,
    "density": 0.0023769,
}


def adkins_liebeck(glide, lift=0.7, n=2001):
    """Minimum-loss blade for given power, and its thrust, in ft, s, lbf.

    Adkins & Liebeck (1994), "Design of Optimum Propellers", Journal of Propulsion and Power 10,
    676-682, their iteration with Prandtl's factor.
    """
    c = ADKINS_LIEBECK
    lam, blades = c["speed"] / (c["omega"] * c["radius"]), 2
    xi = np.linspace(c["hub"] / c["radius"], 1.0, n)
    wanted = 2.0 * c["power"] / (c["density"] * c["speed"] ** 3 * math.pi * c["radius"] ** 2)
    zeta = 0.1
    for _ in range(200):
        tip = math.atan(lam * (1.0 + 0.5 * zeta))
        phi = np.arctan(math.tan(tip) / xi)
        f = 0.5 * blades * (1.0 - xi) / math.sin(tip)
        g = 2.0 / math.pi * np.arccos(np.exp(-f)) * xi / lam * np.cos(phi) * np.sin(phi)
        less, more = 1.0 - glide * np.tan(phi), 1.0 + glide / np.tan(phi)
        j1 = np.trapezoid(4.0 * xi * g * more, xi)
        j2 = np.trapezoid(2.0 * xi * g * more * less * np.cos(phi) ** 2, xi)
        zeta = -0.5 * j1 / j2 + math.sqrt((0.5 * j1 / j2) ** 2 + wanted / j2)
    i1 = np.trapezoid(4.0 * xi * g * less, xi)
    i2 = np.trapezoid(
        2.0 * lam * g * less * (1.0 + glide / np.tan(phi)) * np.sin(phi) * np.cos(phi), xi
    )
    thrust = (i1 * zeta - i2 * zeta**2) * 0.5 * c["density"] * c["speed"] ** 2
    thrust *= math.pi * c["radius"] ** 2
    a = 0.5 * zeta * np.cos(phi) ** 2 * less
    w = c["speed"] * (1.0 + a) / np.sin(phi)
    chord = 4.0 * math.pi * lam * g * c["speed"] * c["radius"] * zeta / (lift * blades * w)
    twist = phi + lift / (2.0 * math.pi)
    return xi, chord / c["radius"], twist, thrust


@pytest.mark.parametrize(("glide", "published"), [(0.0, 215.878), (0.0138, 207.599)])
def test_minimum_loss_blade_gives_its_design_thrust(glide, published):
    # Thrust 215.878 and 207.599 lbf: an independent evaluation of the cited equations. Design takes
    # Prandtl's factor with the tip's angle, the solver with the local one: 0.24 % more thrust.
    xi, chord, twist, thrust = adkins_liebeck(glide)
    assert_allclose(thrust, published, rtol=1e-3)
    section = linear_section(drag_at=lambda a: np.maximum(glide * np.abs(2.0 * math.pi * a), 1e-12))
    chord = np.maximum(chord, 1e-6)
    c = ADKINS_LIEBECK
    rotor = build_rotor(
        blade_of(xi, chord, twist, section), 2.0 * c["radius"], 2, 160, hub_loss=False
    )
    air = replace(AIR, density=c["density"])
    loads = solve_rotor(rotor, air, c["omega"], 0.0, "clockwise", axial_inflow(rotor, c["speed"]))
    assert_allclose(loads.thrust, published, rtol=4e-3)
    assert_allclose(loads.power / 550.0, 70.0, rtol=4e-3)


@pytest.mark.parametrize(
    ("tip_speed_ratio", "published"), [(1.0, 0.4155), (2.5, 0.5319), (5.0, 0.5704)]
)
def test_optimum_windmill(tip_speed_ratio, published):
    # Glauert (1935) in Durand IV, division L: greatest power coefficient of an ideal windmill with
    # swirl (table recalled, within 0.003 of an exact evaluation, which is quoted here).
    x = np.linspace(0.02, 1.0, 3001)
    local = tip_speed_ratio * x
    # a'(1 + a') λr² = a(1 − a) with a' = (1 − 3a)/(4a − 1): a between 1/4 and 1/3
    low, high = np.full_like(x, 0.25 + 1e-12), np.full_like(x, 1.0 / 3.0)
    for _ in range(60):
        a = 0.5 * (low + high)
        fast = (1.0 - 3.0 * a) / (4.0 * a - 1.0)
        big = fast * (1.0 + fast) * local**2 > a * (1.0 - a)
        low, high = np.where(big, a, low), np.where(big, high, a)
    swirl = (1.0 - 3.0 * a) / (4.0 * a - 1.0)
    phi = np.arctan2(1.0 - a, local * (1.0 + swirl))
    w2 = (1.0 - a) ** 2 + (local * (1.0 + swirl)) ** 2
    lift, blades = -0.6, 3
    chord = 4.0 * (1.0 - a) * a / (w2 * -lift * np.cos(phi)) * 2.0 * math.pi * x / blades
    blade = blade_of(x, chord, phi + lift / (2.0 * math.pi), linear_section(drag=1e-12))
    rotor = build_rotor(blade, 2.0, blades, 80, tip_loss=False, hub_loss=False)
    speed = 10.0
    loads = solve_rotor(
        rotor, AIR, tip_speed_ratio * speed, 0.0, "clockwise", axial_inflow(rotor, speed)
    )
    power = -loads.power / (0.5 * AIR.density * math.pi * speed**3)
    assert_allclose(power, published, atol=0.003)
    assert loads.thrust < 0.0


@pytest.mark.parametrize(
    ("incidence", "normal", "moment"),
    [(0.001, 0.144560, 0.116482), (5.0, 0.143850, 0.116636), (10.0, 0.141733, 0.117093)],
)
@pytest.mark.parametrize("spin", ["clockwise", "counterclockwise"])
def test_propeller_at_incidence_without_induction(incidence, normal, moment, spin):
    # Exact quasi-steady integrals of blade-element forces without induction, evaluated
    # independently: B = 3, c/R = 0.12, r/R = 0.2 to 1, J = 0.8, cl = 0.5 at zero incidence,
    # slope 2π, no drag; per rad of incidence, on qA and qAD (the small-angle limit is 0.144561 and
    # 0.116482). In-plane force as a wing's lift; the down-going blade side pulls more.
    x = np.linspace(0.2, 1.0, 2001)
    omega, speed = 100.0, 0.8 * 100.0 / math.pi
    phi = np.arctan2(speed, omega * x)
    blade = blade_of(x, 0.12, phi + 0.5 / (2.0 * math.pi), linear_section(drag=1e-12))
    rotor = build_rotor(blade, 2.0, 3, 200, spacing="uniform")
    angle = math.radians(incidence)
    inflow = axial_inflow(rotor, speed, angle, n_azimuth=48)
    loads = solve_rotor(rotor, AIR, omega, 0.0, spin, inflow, induction=False)
    unit = 0.5 * AIR.density * speed**2 * math.pi
    assert_allclose(loads.force_up / (angle * unit), normal, rtol=2e-4)
    sign = 1.0 if spin == "clockwise" else -1.0
    assert_allclose(sign * loads.moment_up / (angle * unit * 2.0), moment, rtol=2e-4)
    assert abs(loads.force_right) < 1e-9 * unit
    assert abs(loads.moment_right) < 1e-9 * unit
    assert np.all(loads.axial_induced == 0.0)
    if incidence < 1.0:
        # Tc = 0.313633, same integral at zero incidence
        assert_allclose(loads.thrust / unit, 0.313633, rtol=2e-4)


def test_torque_is_the_swirl_s_angular_momentum():
    # dQ = ρ (V + u) 2πr² (2 v) F dr with u and v at the blade: Euler's turbine equation
    blade = blade_of([0.15, 1.0], [0.15, 0.1], np.radians([50.0, 18.0]), linear_section(drag=0.01))
    rotor = build_rotor(blade, 0.8, 4, 24)
    speed = 25.0
    for omega in (420.0, 250.0):
        loads = solve_rotor(rotor, AIR, omega, 0.0, "clockwise", axial_inflow(rotor, speed))
        through = speed + loads.axial_induced / loads.loss_factor
        swirl = 2.0 * loads.tangential_induced
        expected = AIR.density * through * 2.0 * math.pi * rotor.r**2 * swirl
        assert_allclose(loads.dQ_dr, expected, rtol=1e-7, atol=1e-7 * np.abs(expected).max())
        thrust = AIR.density * through * 2.0 * math.pi * rotor.r * 2.0 * loads.axial_induced
        assert_allclose(loads.dT_dr, thrust, rtol=1e-7, atol=1e-7 * np.abs(thrust).max())
        assert_allclose(np.sum(loads.dQ_dr * loads.dr), loads.torque, rtol=1e-12)
        assert_allclose(np.sum(loads.dT_dr * loads.dr), loads.thrust, rtol=1e-12)
        # power in = thrust power + axial and swirl kinetic energy + profile loss
        assert loads.power > loads.thrust * speed


def test_annuli_converge_at_second_order():
    blade = blade_of(
        np.linspace(0.15, 1.0, 2),
        [0.15, 0.1],
        np.radians([45.0, 15.0]),
        linear_section(5.7, 0.01),
    )
    values = []
    for n in (10, 20, 40, 160):
        rotor = build_rotor(blade, 0.8, 4, n)
        loads = solve_rotor(rotor, AIR, 400.0, 0.0, "clockwise", axial_inflow(rotor, 20.0))
        values.append([loads.thrust, loads.torque])
    errors = np.abs(np.array(values[:3]) / values[3] - 1.0)
    assert errors[1].max() < 5e-3  # the default of 20 annuli
    order = np.log2(errors[0] / errors[2]) / 2.0
    assert np.all(order > 1.4)


def test_stopped_rotor_has_drag_and_no_induction():
    section = linear_section(drag_at=lambda a: 0.01 + 1.2 * np.sin(a) ** 2)
    blade = blade_of([0.2, 1.0], 0.1, math.radians(90.0), section)
    rotor = build_rotor(blade, 1.0, 3, 30)
    inflow = axial_inflow(rotor, 40.0)
    feathered = solve_rotor(rotor, AIR, 0.0, 0.0, "clockwise", inflow)
    area = 3 * 0.05 * 0.4
    assert_allclose(feathered.thrust, -0.5 * AIR.density * 1600.0 * area * 0.01, rtol=1e-9)
    flat = solve_rotor(rotor, AIR, 0.0, -math.pi / 2.0, "clockwise", inflow)
    assert_allclose(flat.thrust, -0.5 * AIR.density * 1600.0 * area * 1.21, rtol=1e-9)
    assert np.all(flat.axial_induced == 0.0)
    assert flat.power == 0.0
    with pytest.raises(ValueError, match="stopped rotor"):
        coefficients(rotor, AIR, flat, 40.0)
