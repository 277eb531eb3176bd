"""Liquids by name and by recipe: density, viscosity and surface tension, and which of these are unknown.

`Liquid.unknown` lists numbers that are only usual values; the planner widens its interval for
them, and the photographer's own measurement removes them from the list. Temperatures in K,
mixtures by mass fraction.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from beamfall.errors import PhysicsRangeError
from beamfall.physics.ranges import check_range

ROOM_TEMPERATURE_K = 293.15
#: Parts a recipe may name; see `mix_by_parts`.
INGREDIENTS = ("water", "glycerol", "milk", "cream", "alcohol", "surfactant", "soap", "gum", "dye")
#: Those that make a liquid by themselves (dye counts as water); a recipe has at least one of them.
BASES = ("water", "glycerol", "milk", "cream", "alcohol", "dye")

_PROPERTIES = frozenset({"density_kg_m3", "viscosity_pa_s", "surface_tension_n_m"})
_GLYCEROL_SURFACE_TENSION_N_M = 0.0634  # pure, 20 °C (CRC Handbook, from memory)
# Usual values of whole milk at 20 °C (common practice, no source): they go into `unknown`.
_MILK_DENSITY_KG_M3, _MILK_VISCOSITY_PA_S = 1030.0, 2.0e-3
# Water with washing-up liquid above its critical concentration (common practice, no source).
_SOAPY_SURFACE_TENSION_N_M = 0.030
# Ethanol in water at 20 °C by tenths of mass: kg/m³, mPa·s, mN/m (CRC Handbook, from memory).
_ALCOHOL = (
    (998.2, 1.00, 72.7), (981.9, 1.54, 47.5), (968.7, 2.18, 37.7), (953.9, 2.71, 32.3),
    (935.2, 2.91, 29.7), (913.9, 2.87, 28.0), (891.1, 2.67, 26.7), (867.8, 2.37, 25.5),
    (843.4, 2.01, 24.3), (818.0, 1.61, 23.2), (789.3, 1.20, 22.4),
)  # fmt: skip


@dataclass(frozen=True)
class Liquid:
    """A liquid as the physics sees it, in SI units.

    `viscosity_pa_s` is the dynamic viscosity (of a shear-thinning liquid, at 100 1/s). A power-law
    liquid has η = consistency·γ̇^(flow_index − 1); for a Newtonian one flow_index is 1 and the
    consistency is the viscosity. `unknown` names the fields that are usual values, not known ones.
    Raises PhysicsRangeError for values no such liquid has.
    """

    name: str
    density_kg_m3: float
    viscosity_pa_s: float
    surface_tension_n_m: float
    flow_index: float = 1.0
    consistency: float | None = None
    unknown: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        check_range("liquid density", self.density_kg_m3, 600.0, 2000.0, "kg/m³")
        check_range("liquid viscosity", self.viscosity_pa_s, 1e-4, 20.0, "Pa·s")
        check_range("surface tension", self.surface_tension_n_m, 0.015, 0.090, "N/m")
        check_range("flow index", self.flow_index, 0.1, 1.5)
        if self.consistency is None:
            object.__setattr__(self, "consistency", self.viscosity_pa_s)
        else:
            check_range("consistency", self.consistency, 1e-4, 100.0, "Pa·s^n")
        strange = self.unknown - _PROPERTIES
        if strange:
            raise PhysicsRangeError(
                f"unknown = {', '.join(sorted(strange))} is not a property of a liquid; "
                f"the properties are {', '.join(sorted(_PROPERTIES))}",
                quantity="unknown", found=tuple(sorted(strange)),
            )  # fmt: skip

    def viscosity_at(self, shear_rate_per_s: float) -> float:
        """Viscosity in Pa·s at a shear rate of 0.1-10,000 1/s: Ostwald-de Waele power law."""
        if self.flow_index == 1.0:
            return self.viscosity_pa_s
        check_range("shear rate", shear_rate_per_s, 0.1, 1e4, "1/s")
        assert self.consistency is not None  # set in __post_init__
        return float(self.consistency * shear_rate_per_s ** (self.flow_index - 1.0))


#: Water at 20 °C and 0.101325 MPa: density IAPWS-95, viscosity IAPWS R12-08, surface tension IAPWS R1-76(2014).
WATER = Liquid("water", 998.207, 1.0016e-3, 0.072736)


def water(temperature_k: float = ROOM_TEMPERATURE_K) -> Liquid:
    """Water at atmospheric pressure, 273.16-372 K: within 0.004 % of the library iapws, which takes a second to load.

    Density: Kell (1975, J. Chem. Eng. Data 20:97). Viscosity: IAPWS SR6-08(2011). Surface tension: IAPWS R1-76(2014).
    """
    check_range("water temperature", temperature_k, 273.16, 372.0, "K")
    if temperature_k == ROOM_TEMPERATURE_K:
        return WATER
    return Liquid(
        WATER.name,
        _water_density(temperature_k - 273.15),
        _water_viscosity(temperature_k),
        _water_surface_tension(temperature_k),
    )


def _water_density(t: float) -> float:
    """Kell (1975), 0-150 °C; °C to kg/m³."""
    cubic = 999.83952 + t * (16.945176 + t * (-7.9870401e-3 - 46.170461e-6 * t))
    return (cubic + t**4 * (105.56302e-9 - 280.54253e-12 * t)) / (1.0 + 16.879850e-3 * t)


def _water_viscosity(temperature_k: float) -> float:
    """IAPWS SR6-08(2011), 253-383 K, Pa·s."""
    x = temperature_k / 300.0
    terms = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))
    return float(sum(factor * x**power for factor, power in terms) * 1e-6)


def glycerol_water(mass_fraction: float, temperature_k: float = ROOM_TEMPERATURE_K) -> Liquid:
    """Glycerol in water, mass fraction 0-1 of glycerol, 288.15-303.15 K.

    Viscosity: Cheng (2008, Ind. Eng. Chem. Res. 47:3285, doi 10.1021/ie071349z), for 0-100 °C.
    Density: Volk & Kähler (2018, Exp. Fluids 59:75), for 15-30 °C, within 0.07 %. Surface tension:
    a straight line from water to pure glycerol, our estimate, some 1 mN/m in between.
    """
    c = check_range("glycerol mass fraction", mass_fraction, 0.0, 1.0)
    check_range("glycerol mixture temperature", temperature_k, 288.15, 303.15, "K")
    t = temperature_k - 273.15
    tension = _water_surface_tension(temperature_k)
    tension += c * (_GLYCEROL_SURFACE_TENSION_N_M - WATER.surface_tension_n_m)
    name = f"{100 * c:.0f} % glycerol in water"
    return Liquid(name, _glycerol_density(c, t), _glycerol_viscosity(c, t), tension)


def _water_surface_tension(temperature_k: float) -> float:
    """IAPWS R1-76(2014), N/m."""
    below_critical = 1.0 - temperature_k / 647.096
    return float(0.2358 * below_critical**1.256 * (1.0 - 0.625 * below_critical))


def _glycerol_viscosity(c: float, t: float) -> float:
    """Cheng (2008), eqs. 6, 11-13, 21, 22; °C to Pa·s."""
    of_water = 1.790e-3 * math.exp((-1230.0 - t) * t / (36100.0 + 360.0 * t))
    of_glycerol = 12.100 * math.exp((-1233.0 + t) * t / (9900.0 + 70.0 * t))
    a = 0.705 - 0.0017 * t
    b = (4.9 + 0.036 * t) * a**2.5
    alpha = 1.0 - c + a * b * c * (1.0 - c) / (a * c + b * (1.0 - c))
    return float(of_water**alpha * of_glycerol ** (1.0 - alpha))


def _glycerol_density(c: float, t: float) -> float:
    """Volk & Kähler (2018): ideal mixing by volume times a contraction; °C to kg/m³."""
    of_glycerol = 1273.3 - 0.6121 * t
    of_water = 1000.0 * (1.0 - (abs(t - 3.98) / 615.0) ** 1.71)
    amplitude = 1.78e-6 * t**2 - 1.82e-4 * t + 1.41e-2
    contraction = 1.0 + amplitude * max(0.0, math.sin(c**1.31 * math.pi)) ** 0.81
    return float(contraction / (c / of_glycerol + (1.0 - c) / of_water))


def milk(temperature_k: float = ROOM_TEMPERATURE_K) -> Liquid:
    """Whole milk, 291.15-333.15 K.

    Surface tension 1.8e-4·θ² − 0.163·θ + 55.6 mN/m (θ in °C; J. Dairy Research 50:259, 1983, for
    18-135 °C). Density and viscosity are usual values at 20 °C and listed as unknown.
    """
    check_range("milk temperature", temperature_k, 291.15, 333.15, "K")
    celsius = temperature_k - 273.15
    tension = (1.8e-4 * celsius**2 - 0.163 * celsius + 55.6) * 1e-3
    return Liquid(
        "milk", _MILK_DENSITY_KG_M3, _MILK_VISCOSITY_PA_S, tension,
        unknown=frozenset({"density_kg_m3", "viscosity_pa_s"}),
    )  # fmt: skip


def cream() -> Liquid:
    """Whipping cream, about a third fat: usual values, all unknown (common practice, no source)."""
    return Liquid("cream", 1000.0, 0.03, 0.045, unknown=_PROPERTIES)


def alcohol_water(mass_fraction: float) -> Liquid:
    """Ethanol in water at 20 °C, mass fraction 0-1 (CRC Handbook, from memory: within some 3 %)."""
    c = check_range("alcohol mass fraction", mass_fraction, 0.0, 1.0)
    low = min(int(c * 10.0), 9)
    (rho0, mu0, s0), (rho1, mu1, s1) = _ALCOHOL[low], _ALCOHOL[low + 1]
    x = 10.0 * c - low
    return Liquid(
        f"{100 * c:.0f} % alcohol in water", rho0 + x * (rho1 - rho0),
        (mu0 + x * (mu1 - mu0)) * 1e-3, (s0 + x * (s1 - s0)) * 1e-3,
    )  # fmt: skip


def with_surfactant(liquid: Liquid) -> Liquid:
    """The liquid with a surfactant in it: the usual 30 mN/m, marked unknown.

    A fresh surface, as on a drop a few milliseconds old, has more, up to that of the clean liquid.
    """
    return replace(
        liquid,
        name=f"{liquid.name} with surfactant",
        surface_tension_n_m=min(liquid.surface_tension_n_m, _SOAPY_SURFACE_TENSION_N_M),
        unknown=liquid.unknown | {"surface_tension_n_m"},
    )


def mix_by_parts(parts: Mapping[str, float], temperature_k: float = ROOM_TEMPERATURE_K) -> Liquid:
    """A liquid from a recipe such as {"water": 10, "glycerol": 2, "dye": 0.05}.

    `parts` are of volume, of `INGREDIENTS`. Dye counts as water. Surfactant, or soap, sets
    the surface tension and gum the viscosity to unknown, whatever their amount (`thickeners` takes grams).
    Water with glycerol, or with alcohol, by tables; of other mixtures density by volume, logarithm of the
    viscosity and surface tension by volume, all three unknown. Raises PhysicsRangeError for a strange
    ingredient or amount.
    """
    for name, amount in parts.items():
        if name not in INGREDIENTS:
            raise PhysicsRangeError(
                f"ingredient {name!r} is unknown; the known ones are {', '.join(INGREDIENTS)}",
                quantity="ingredient", found=name,
            )  # fmt: skip
        check_range(f"parts of {name}", amount, 0.0, 1e6)
    pure: dict[str, Callable[[], Liquid]] = {
        "water": lambda: water(temperature_k),
        "glycerol": lambda: glycerol_water(1.0, temperature_k),
        "milk": lambda: milk(temperature_k),
        "cream": cream,
        "alcohol": lambda: alcohol_water(1.0),
    }
    base = {name: parts.get(name, 0.0) for name in pure}
    base["water"] += parts.get("dye", 0.0)
    if sum(base.values()) <= 0.0:
        raise PhysicsRangeError(
            f"parts: none of {', '.join(BASES)}; give at least one of them",
            quantity="parts",
            found=0.0,
        )
    liquids = {name: make() for name, make in pure.items() if base[name] > 0.0}
    mixed = _mix(liquids, base, temperature_k)
    if parts.get("surfactant", 0.0) + parts.get("soap", 0.0) > 0.0:
        mixed = with_surfactant(mixed)
    if parts.get("gum", 0.0) > 0.0:
        unknown = mixed.unknown | {"viscosity_pa_s"}
        mixed = replace(mixed, name=f"{mixed.name} with gum", unknown=unknown)
    return mixed


def _mix(
    liquids: Mapping[str, Liquid], volumes: Mapping[str, float], temperature_k: float
) -> Liquid:
    if len(liquids) == 1:
        return next(iter(liquids.values()))
    if set(liquids) == {"water", "alcohol"}:
        masses = {name: volumes[name] * liquids[name].density_kg_m3 for name in liquids}
        return alcohol_water(masses["alcohol"] / sum(masses.values()))
    if set(liquids) == {"water", "glycerol"}:
        masses = {name: volumes[name] * liquids[name].density_kg_m3 for name in liquids}
        return glycerol_water(masses["glycerol"] / sum(masses.values()), temperature_k)
    total = sum(volumes.values())
    shares = {name: volumes[name] / total for name in liquids}
    return Liquid(
        " and ".join(f"{100 * shares[name]:.0f} % {name}" for name in liquids),
        sum(share * liquids[name].density_kg_m3 for name, share in shares.items()),
        math.exp(sum(s * math.log(liquids[name].viscosity_pa_s) for name, s in shares.items())),
        sum(share * liquids[name].surface_tension_n_m for name, share in shares.items()),
        unknown=_PROPERTIES,
    )
