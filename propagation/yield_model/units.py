"""Conversions a reef keeper's sizes and light need."""

import numpy as np

MM_PER_INCH = 25.4  # exact, international yard and pound agreement of 1959

# Density of aragonite, g/cm³. Jokiel PL, Maragos JE, Franzisket L 1978, in Coral Reefs: Research Methods (UNESCO).
ARAGONITE_DENSITY = 2.93


def _finite(value, what, *, lowest=0.0, strictly=True):
    value = np.asarray(value, dtype=float)
    beyond = value <= lowest if strictly else value < lowest
    if np.any(~np.isfinite(value) | beyond):
        raise ValueError(f"{what} must be a number {'greater than' if strictly else 'of at least'} {lowest:g}.")
    return value


def mm_from_inch(inch):
    """Millimetres from inches; array_like, ≥ 0."""
    return _finite(inch, "A length", strictly=False) * MM_PER_INCH


def inch_from_mm(mm):
    """Inches from millimetres; array_like, ≥ 0."""
    return _finite(mm, "A length", strictly=False) / MM_PER_INCH


def seawater_density(salinity, temperature):
    """Density of seawater at the surface.

    Parameters
    ----------
    salinity : array_like
        Practical salinity (PSS-78), 0 to 45.
    temperature : array_like
        °C, −2 to 40.

    Returns
    -------
    ndarray
        kg/m³, by the equation of state EOS-80 at atmospheric pressure.

    Raises
    ------
    ValueError
        Outside the range of the equation.

    Source: UNESCO Technical Papers in Marine Science 44, 1983 (coefficients from memory; checked against TEOS-10).
    """
    s, t = np.asarray(salinity, dtype=float), np.asarray(temperature, dtype=float)
    if np.any(~((s >= 0) & (s <= 45))):
        raise ValueError("A salinity must lie between 0 and 45.")
    if np.any(~((t >= -2) & (t <= 40))):
        raise ValueError("A water temperature must lie between -2 and 40 °C.")
    pure = (
        999.842594 + 6.793952e-2 * t - 9.095290e-3 * t**2 + 1.001685e-4 * t**3 - 1.120083e-6 * t**4 + 6.536332e-9 * t**5
    )
    a = 0.824493 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    b = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return pure + a * s + b * s**1.5 + 4.8314e-4 * s**2


def dry_weight(buoyant_weight, water_density, skeleton_density=ARAGONITE_DENSITY):
    """Weight of a skeleton in air from its weight under water.

    Parameters
    ----------
    buoyant_weight : array_like
        g, > 0.
    water_density, skeleton_density : array_like
        g/cm³; the skeleton must be the denser.

    Returns
    -------
    ndarray
        g.

    Raises
    ------
    ValueError
        If a weight is not greater than zero, or the skeleton would float.

    Source: Jokiel PL et al. 1978; Davies PS 1989, Mar. Biol. 101:389–395 (from memory).
    """
    return _finite(buoyant_weight, "A weight") / _sinking_share(water_density, skeleton_density)


def buoyant_weight(dry, water_density, skeleton_density=ARAGONITE_DENSITY):
    """Weight of a skeleton under water from its weight in air: the inverse of `dry_weight`, same units and errors."""
    return _finite(dry, "A weight") * _sinking_share(water_density, skeleton_density)


def _sinking_share(water_density, skeleton_density):
    water, skeleton = _finite(water_density, "A density"), _finite(skeleton_density, "A density")
    if np.any(water >= skeleton):
        raise ValueError("The skeleton must be denser than the water; densities are in g/cm³.")
    return 1 - water / skeleton


def daily_light_integral(ppfd, hours):
    """Light a spot receives in a day.

    Parameters
    ----------
    ppfd : array_like
        Photosynthetic photon flux density, µmol m⁻² s⁻¹, ≥ 0.
    hours : array_like
        Hours of light a day, 0 to 24.

    Returns
    -------
    ndarray
        mol m⁻² d⁻¹.

    Raises
    ------
    ValueError
        If the light is negative or the day longer than a day.
    """
    ppfd, hours = _finite(ppfd, "A light reading", strictly=False), _finite(hours, "A day's light", strictly=False)
    if np.any(hours > 24):
        raise ValueError("A day has 24 hours.")
    return ppfd * hours * 3600 / 1e6
