"""Plots of the circuit studies: valve, flash contact and beam."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from circuit import study_beam, study_opto, study_valve
from circuit.results import Results
from circuit.spice import run_deck

_COLOURS = {0.0: "#888888", 24.0: "#1f77b4", 36.0: "#d62728"}


def _figure(rows: int, height: float) -> Any:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(rows, 1, figsize=(8.5, height), constrained_layout=True)
    return figure, axes


def _save(figure: Any, path: Path) -> Path:
    import matplotlib.pyplot as plt

    figure.savefig(path, dpi=110, metadata={"Software": None})
    plt.close(figure)
    return path


def plot_valve(folder: Path, results: Results) -> Path:
    """Coil current and drain voltage after the driver opens, with the three clamps, and the closing times' corners."""
    figure, (current, voltage, bars) = _figure(3, 9.5)
    for case in study_valve.nominal_cases():
        if case.supply_v != 12.0:
            continue
        run = run_deck("valve", case.params, ["i(Lcoil)", "v(drain)"])
        off_s = 1e-3 + case.params["ton"]
        near = (run.time_s > off_s - 0.3e-3) & (run.time_s < off_s + 4.5e-3)
        x = (run.time_s[near] - off_s) * 1e3
        label, colour = study_valve.CLAMP_NAMES[case.clamp_v], _COLOURS[case.clamp_v]
        current.plot(x, run.waves["i(Lcoil)"][near] * 1e3, label=label, color=colour)
        voltage.plot(x, run.waves["v(drain)"][near], label=label, color=colour)
    current.axhline(50, color="black", lw=0.8, ls=":")
    current.text(4.5, 53, "valve lets go (25 %)", ha="right", fontsize=9)
    current.set(ylabel="coil current (mA)", title="12 V valve, 60 Ω, 150 mH: the driver opens at 0")
    voltage.axhline(80, color="black", lw=0.8, ls=":")
    voltage.text(4.5, 74, "80 % of the transistor's rating", ha="right", fontsize=9)
    voltage.set(
        ylabel="drain voltage (V)",
        xlabel="time (ms)",
        title="the ringing afterwards is harmless; a real coil's iron damps it sooner",
    )
    current.legend()
    names = []
    for n, (key, spread) in enumerate(results.closing.items()):
        names.append(f"{key[0]:g} V, {study_valve.CLAMP_NAMES[key[1]]}")
        bars.plot(
            [spread.least_s * 1e3, spread.greatest_s * 1e3],
            [n, n],
            lw=8,
            color="#bbbbbb",
            solid_capstyle="butt",
        )
        drift = results.closing_drift[key]
        bars.plot(
            [drift.least_s * 1e3, drift.greatest_s * 1e3],
            [n, n],
            lw=8,
            color="#d62728",
            solid_capstyle="butt",
        )
        bars.plot(spread.nominal_s * 1e3, n, "k|", ms=12)
    bars.set_yticks(range(len(names)), names)
    bars.invert_yaxis()
    bars.set(
        xlabel="closing time (ms)",
        title="grey: all corners between rigs; red: one rig, cold to 30 K warmer, supply ±1 %",
    )
    return _save(figure, folder / "valve.png")


def plot_optocoupler(folder: Path) -> Path:
    """Contact voltage after the flash output's edge."""
    figure, axes = _figure(2, 6.5)
    for name, axis in (("6 V", axes[0]), ("300 V, thyristor", axes[1])):
        for case in [*study_opto.nominal_cases(), *study_opto.corner_cases()]:
            if case.contact != name:
                continue
            run = run_deck("optocoupler", case.params, ["v(con)"], optional=["t_on", "t_off"])
            near = (run.time_s > 95e-6) & (run.time_s < 160e-6)
            nominal = case.corner == "nominal"
            axis.plot(
                (run.time_s[near] - 100e-6) * 1e6,
                run.waves["v(con)"][near],
                color="#d62728" if nominal else "#bbbbbb",
                lw=2 if nominal else 0.8,
                zorder=3 if nominal else 1,
            )
        axis.set(
            ylabel="contact voltage (V)", title=f"contact of {name}; red: nominal, grey: corners"
        )
    axes[1].set(xlabel="time after the buffer's edge (µs)")
    return _save(figure, folder / "optocoupler.png")


def plot_beam(folder: Path) -> Path:
    """A drop's shadow in the receiver: signal, thresholds, output; with a lamp; with the flash's light."""
    figure, axes = _figure(3, 9.5)
    cases = [
        ("4 mm drop at 1.6 m/s, no other light", study_beam.nominal_case()),
        ("the same under a lamp (50 µA, 100 Hz)", list(study_beam.lamp_cases())[-6][1]),
        ("the flash fires while the drop is in the beam", study_beam.flash_case(dark=True)),
    ]
    for (title, case), axis in zip(cases, axes, strict=True):
        run = study_beam.run_case(case)
        near = (run.time_s > 4e-3) & (run.time_s < 9e-3)
        x = run.time_s[near] * 1e3
        axis.plot(x, run.waves["v(sh)"][near] * 2.4, color="#bbbbbb", label="light (2.4 V: clear)")
        axis.plot(x, run.waves["v(sig)"][near], color="#1f77b4", label="receiver")
        axis.plot(x, run.waves["v(thr)"][near], color="#2ca02c", lw=0.9, label="threshold")
        axis.plot(x, run.waves["v(out)"][near], color="#d62728", label="output: high is dark")
        axis.set(ylabel="V", title=title, ylim=(-0.2, 3.6))
    axes[0].legend(loc="upper right", fontsize=8)
    axes[2].set(xlabel="time (ms)")
    return _save(figure, folder / "beam.png")


def plot_all(folder: Path, results: Results) -> list[Path]:
    """All plots."""
    return [plot_valve(folder, results), plot_optocoupler(folder), plot_beam(folder)]
