"""Manufacturers' part numbers for each line of the bill of materials, as examples. All from memory, November 2026.

Check each against its data sheet before you order: the item's description says what it must be able to do. Several
numbers joined by + are bought together, "4 × " before a number says how many of it for each piece of the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

DATE = "from memory, November 2026"
# Price of one in euros, least and most, by class.
PRICES = MappingProxyType({"low": (0.05, 1.0), "medium": (2.0, 12.0), "high": (15.0, 40.0)})


def _quarter_watt(yageo: str, vishay: str) -> tuple[str, str]:
    return f"Yageo MFR-25FBF52-{yageo}", f"Vishay MRS25000C{vishay}FCT00"


ORDERS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "R100": _quarter_watt("100R", "1000"),
        "R220": _quarter_watt("220R", "2200"),
        "R470": _quarter_watt("470R", "4700"),
        "R680": _quarter_watt("680R", "6800"),
        "R1K": _quarter_watt("1K", "1001"),
        "R2K2": _quarter_watt("2K2", "2201"),
        "R4K7": _quarter_watt("4K7", "4701"),
        "R7K5": _quarter_watt("7K5", "7501"),
        "R10K": _quarter_watt("10K", "1002"),
        "R22K": _quarter_watt("22K", "2202"),
        "R47K": _quarter_watt("47K", "4702"),
        "R100K": _quarter_watt("100K", "1003"),
        "R1M": _quarter_watt("1M", "1004"),
        "R150": ("Vishay MRS25000C1500FCT00", "Yageo MFR50SFTE52-150R"),
        "R4R7": ("Vishay PR01000104708JR500", "Yageo RSF100JB-73-4R7"),
        "R0R22": ("Vishay PR02000202207JR500", "Yageo KNP200JR-73-0R22"),
        "TRIM1K": ("Bourns 3296W-1-102LF", "Vishay T93YA102KT20"),
        "C1000U": ("Panasonic EEU-FC1H102", "Nichicon UPW1H102MHD"),
        "C100U": ("Panasonic EEU-FC1C101", "Nichicon UPW1C101MED"),
        "C10U": ("Panasonic EEU-FC1H100", "Nichicon UVR1E100MDD"),
        "C100N": ("Kemet C320C104K5R5TA", "Vishay K104K15X7RF53H5"),
        "C10N": ("Kemet C320C103K5R5TA", "Vishay K103K15X7RF53H5"),
        "DRECT": ("Vishay 1N4007-E3/54", "onsemi 1N4007G"),
        "DSCH": ("Vishay 1N5817-E3/54", "onsemi 1N5817G"),
        "DSIG": ("Vishay 1N4148-TAP", "onsemi 1N4148"),
        "Z12": ("Vishay BZX55C12-TAP", "onsemi 1N5242B"),
        "TVS28": ("Littelfuse P6KE33A", "Vishay P6KE33A-E3/54"),
        "TVS36": ("Littelfuse P6KE36A", "Vishay P6KE36A-E3/54"),
        "BRIDGE": ("Vishay DF10M-E3/45", "onsemi DF10M"),
        "NMOS100": ("Infineon IRL540NPBF", "Infineon IRL530NPBF"),
        "PMOS60": ("Infineon IRF9540NPBF", "Vishay IRF9Z34PBF"),
        "NPN": ("onsemi 2N3904BU", "onsemi 2N3904TA"),
        "SCR": ("STMicroelectronics X0202MA 1BA2", "STMicroelectronics X0202MA 5AL2"),
        # No second maker of a 400 V type with a base pin is known: both are the same chip, the second with its legs
        # spread to the board's 10.16 mm. Motorola's data sheet MOC8204/D gives 400 V (V_CER).
        "OPTO400": ("onsemi MOC8204M", "onsemi MOC8204TVM (legs 10.16 mm apart)"),
        "OPTO35": ("Vishay SFH617A-3", "Lite-On LTV-817B"),
        "LEDG": ("Kingbright WP710A10LGD", "Vishay TLHG4400"),
        "LEDIR": ("Vishay TSAL6100", "ams-Osram SFH 4544"),
        "PTRANS": ("Vishay BPV11F", "Everlight PT334-6B"),
        "PDIODE": ("Vishay BPW34", "ams-Osram BPW 34"),
        "BUF541": ("Texas Instruments SN74HCT541N", "Texas Instruments CD74HCT541E"),
        "COMP4": ("Texas Instruments LM339N", "Texas Instruments LM2901N"),
        "OPAMP2": ("Microchip MCP6002-I/P", "Microchip MCP6022-I/P"),
        "BUCK5": ("Traco TSR 1-2450", "Recom R-78HB5.0-0.5"),
        "FT125A": (
            "3 × Littelfuse 02181.25HXP + Schurter 0031.8201 (holder)",
            "3 × Eaton Bussmann S506-1.25-R + Schurter 0031.8201 (holder)",
        ),
        "FF630": (
            "3 × Littelfuse 0217.630HXP + Schurter 0031.8201 (holder)",
            "3 × Eaton Bussmann S500-630-R + Schurter 0031.8201 (holder)",
        ),
        "JTERM2": ("Phoenix Contact 1715721", "TE Connectivity 282837-2"),
        "JTERM3": ("Phoenix Contact 1715734", "TE Connectivity 282837-3"),
        "JBEAM": (
            "Molex 22-27-2041 + Molex 22-01-3047 + 4 × Molex 08-50-0114",
            "TE Connectivity 640456-4 + TE Connectivity 3-640440-4",
        ),
        "JLIGHT": (
            "Molex 22-27-2021 + Molex 22-01-3027 + 2 × Molex 08-50-0114",
            "TE Connectivity 640456-2 + TE Connectivity 3-640440-2",
        ),
        "JDC": ("Switchcraft 722A", "CUI Devices PJ-005A"),
        # Socket contacts, deep in their housing, go on the flash's cable: that side can be live when unplugged.
        "JFLASH": (
            "TE Connectivity 1-480698-0 + TE Connectivity 1-480699-0 + 2 × TE Connectivity 350550-1 (sockets)"
            " + 2 × TE Connectivity 350547-1 (pins)",
            "Molex 50-84-1020 (MLX series: with its receptacle and crimp terminals)",
        ),
        "JCAM": ("Cliff FC68131", "Same Sky SJ1-3535NG"),
        "BUTTON": ("E-Switch PS1024ALBLK", "C&K 8121SHZGE"),
        # Makers of valves build the number from options: order by the type and by the words in brackets.
        "VALVE": (
            "Bürkert 6011 (DN 1.6, G1/8, brass, 12 V DC, 4 W: 36 Ω)",
            "SMC VX21 (size 1, normally closed, for water, orifice 2 mm, port 1/8, 12 V DC, 4.5 W: 32 Ω)",
        ),
        "SWITCH": ("C&K 7101SYZQE", "NKK M2011SS1W01"),
        "BOARD": ("Raspberry Pi SC0917 (Pico H)", "Raspberry Pi SC0915 (Pico)"),
    }
)
