"""What a covered tray is made of: every figure of its physics with its unit, its reason and its source.

Marks: "published" with the source, "from memory" (ordinary engineering figures, not looked up), and
"chosen so that …" where a figure stands for many things at once and only its effect is known.
"""

from dataclasses import dataclass
from typing import Final

#: Heat capacity of liquid water. [J/(g K)] From memory (CRC Handbook, 25 °C: 4.18).
WATER_J_PER_G_K: Final = 4.18
#: Enthalpy of vapour at 24 °C, counted from liquid water at 0 °C. [J/g] 2501 + 1.86 · 24 (FAO Irrigation
#: and Drainage Paper 56 takes 2450 for the latent heat alone). Taken as constant: 0.07 % a kelvin.
VAPOUR_J_PER_G: Final = 2546.0
#: Vapour pressure of one gram in one cubic metre, per kelvin. [kPa m³/(g K)] R_v = 461.5 J/(kg K), from memory.
VAPOUR_KPA_M3_PER_G_K: Final = 461.5e-6
#: Heat capacity of a cubic metre of air. [J/(m³ K)] 1.19 kg/m³ · 1006 J/(kg K), from memory.
AIR_J_PER_M3_K: Final = 1197.0
ZERO_C_IN_K: Final = 273.15
S_PER_H: Final = 3600.0


@dataclass(frozen=True, slots=True)
class TrayParameters:
    """One tray of 54 by 28 cm under a cover 15 cm high, with its mat, its lamp and about sixty cuttings.

    Conductances of heat are in W/K, those of vapour in g/(h kPa), for the whole tray.
    """

    #: Air under the cover: 0.15 m² times 0.15 m. [m³]
    air_m3: float = 0.0225
    #: Air, 60 g of foliage at 3.9 J/(g K), and what is as thin as a leaf. [J/K] From memory.
    air_j_per_k: float = 300.0
    #: A double-skinned cover of 0.35 kg at 1.3 J/(g K). [J/K] From memory (polystyrene, PETG).
    cover_j_per_k: float = 450.0
    #: Mass of that cover; it rides on the scale. [g] From memory: a lid weighs 150 to 400 g.
    cover_g: float = 300.0
    #: Dry fill, tray, mat and the plate below. [J/K] Chosen so that a dead heater relaxes within 1.5 to 4 h.
    dry_j_per_k: float = 3500.0
    #: Dry mass of the filled tray, without cover. [g] Worked example of a tray by weight: Wd 1200 g.
    dry_g: float = 1200.0
    #: Water the medium holds when saturated and drained. [g] The same example: Ws 3000 g.
    saturated_g: float = 1800.0

    #: Medium to air under the cover: 3 W/(m² K) of free convection over 0.15 m². From memory.
    medium_to_air_w_per_k: float = 0.45
    #: The same in the open, where the room's air moves: 8 W/(m² K). From memory.
    medium_to_air_open_w_per_k: float = 1.2
    #: Medium and leaves to cover, by radiation: 5.9 W/(m² K) at 24 °C times 0.81, over 0.15 m².
    #: Stefan and Boltzmann's law, linear; emissivities of 0.9 from memory.
    medium_to_cover_w_per_k: float = 0.72
    #: Air to cover: 3 W/(m² K) over 0.4 m². From memory.
    air_to_cover_w_per_k: float = 1.6
    #: Cover to room: two skins, 2.5 W/(m² K) over 0.4 m². Chosen so that closed air keeps over 90 % of
    #: humidity up to 6 K above its room: closed propagators do for most of the time (J. Hort. Sci.
    #: 68(3):421-430, 1993).
    cover_to_room_w_per_k: float = 0.8
    #: Medium to room through base and sides. Chosen so that a dead heater relaxes within 1.5 to 4 h.
    medium_to_room_w_per_k: float = 0.35

    #: Heating mat, 125 W/m². [W] Chosen so that a stuck one lifts the medium by 2 to 6 K/h.
    mat_w: float = 19.0
    #: How far the thermostat lets the medium swing to either side. [K] From memory.
    thermostat_half_swing_k: float = 0.3
    #: Heat of the lamp that stays in leaves and air, cover, and medium. [W] Chosen so that the lamp
    #: lifts the air by 1 to 3 K.
    lamp_in_air_w: float = 1.15
    lamp_in_cover_w: float = 1.6
    lamp_in_medium_w: float = 0.6

    #: Medium to air under the cover, through the canopy. Chosen so that air which was let out is moist
    #: again within 6 to 20 min.
    medium_g_per_h_kpa: float = 3.5
    #: The same in the open. Chosen so that an uncovered tray loses 5 to 25 g/h.
    medium_open_g_per_h_kpa: float = 7.5
    #: Leaves that are wet all over. As above.
    film_g_per_h_kpa: float = 3.0
    film_open_g_per_h_kpa: float = 3.5
    #: Dew on leaves colder than the dew point. Chosen so that air is hardly ever above saturation.
    dew_g_per_h_kpa: float = 60.0
    #: Leaves of unrooted cuttings, stomata half closed, lit and dark. [g/(h kPa)] From memory.
    leaf_lit_g_per_h_kpa: float = 1.0
    leaf_dark_g_per_h_kpa: float = 0.25
    #: Condensation on the cover, far more than heat and mass moving alike would give (35): chosen so that
    #: the cover's saturation caps the vapour under it to within half a per cent of humidity.
    condensing_g_per_h_kpa: float = 400.0
    #: Beads on the cover drying back into the air; they cover little of it. Chosen as the medium.
    beads_g_per_h_kpa: float = 2.0
    #: Air changes an hour of a closed cover, a cracked one and an open tray. The first two chosen so that
    #: a closed tray loses 0.2 to 1.5 g/h and a cracked cover ends at 70 to 80 %; the last so that an
    #: airing falls to 40 to 75 % within minutes.
    closed_per_h: float = 2.0
    cracked_per_h: float = 30.0
    open_per_h: float = 170.0

    #: Half of the leaves are wet at this much. [g] From memory.
    half_wet_g: float = 2.0
    #: What leaves and cover can hold; the rest runs off with this time constant. [g], [s] From memory.
    most_on_leaves_g: float = 12.0
    most_on_cover_g: float = 40.0
    run_off_s: float = 600.0
    #: Water above saturation drains off the bench. [s] A watering drains for 5 to 30 min (from memory).
    drain_s: float = 600.0
    #: Share of the water held at which 63 % of the medium's surface is wet; it falls off fast below. Chosen
    #: so that the air over a medium with a fifth of its water sags to 80 to 88 %.
    dry_share: float = 0.6
    #: Share of a mist that stays on leaves. From memory.
    mist_on_leaves: float = 0.6
