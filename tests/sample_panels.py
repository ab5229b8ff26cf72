"""Turns the invented plant's figures into plain rows that ``make_sample_results`` writes into workbooks.

Everything here is invented: plant, coast, laboratory and figures. The figures are chosen to hang together the way a
brackish well water of about 2,600 mg/L and a reverse-osmosis train do (ions balance, rejection 96-99 %, carbon takes
chlorine out, counts grow in tanks and on carbon); common practice, no source. Method names are published standards.
"""

from __future__ import annotations

PLANT = "Port Almara bottling plant (invented)"
ADDRESS = "Quay Road 4, Port Almara, Sorrel coast (invented)"
LABORATORY = "Sorrel Coast Water Laboratory (invented)"

# Parameter | Unit | Method | SP1 … SP9 | FP
COMMISSIONING = """
pH|pH|ISO 10523|7.42|7.44|7.40|7.40|7.31|5.92|6.04|6.18|6.18|6.20
Electrical conductivity at 25 °C|µS/cm|ISO 7888|4150|4150|4140|4140|4150|69|71|73|73|73
Total dissolved solids|mg/L|In-house G-04|2610|2610|2600|2600|2610|38|39|40|40|40
Turbidity|NTU|ISO 7027-1|2.4|0.35|0.28|0.12|0.13|<0.05|0.07|0.06|0.06|0.06
Colour|mg/L Pt-Co|ISO 7887|8|5|<2|<2|<2|<2|<2|<2|<2|<2
Free chlorine|mg/L|ISO 7393-2|0.82|0.61|<0.02|<0.02|<0.02|<0.02|<0.02|<0.02|<0.02|<0.02
Total chlorine|mg/L|ISO 7393-2|0.95|0.74|0.03|<0.02|<0.02|<0.02|<0.02|<0.02|<0.02|<0.02
Total hardness (as CaCO3)|mg/L|ISO 6059|708|708|708|708|708|2.2|2.3|2.4|2.4|2.4
Alkalinity (as CaCO3)|mg/L|ISO 9963-1|238|238|238|238|236|4.9|5.0|5.2|5.2|5.2
Calcium|mg/L|ISO 17294-2|160|160|160|160|160|0.50|0.52|0.55|0.55|0.55
Magnesium|mg/L|ISO 17294-2|75|75|75|75|75|0.24|0.25|0.25|0.25|0.25
Sodium|mg/L|ISO 17294-2|670|672|670|670|671|13.0|13.2|13.3|13.3|13.3
Potassium|mg/L|ISO 17294-2|14.0|14.0|13.9|13.9|14.0|0.30|0.31|0.31|0.31|0.31
Chloride|mg/L|ISO 10304-1|1080|1082|1080|1080|1080|16.0|16.2|16.3|16.3|16.3
Sulfate|mg/L|ISO 10304-1|420|420|420|420|421|1.9|1.9|2.0|2.0|2.0
Nitrate (as N)|mg/L|ISO 10304-1|4.20|4.20|4.25|4.25|4.24|0.35|0.36|0.36|0.36|0.36
Nitrite (as N)|mg/L|ISO 10304-1|<0.01|<0.01|0.02|0.02|0.02|<0.01|<0.01|<0.01|<0.01|<0.01
Ammonium (as N)|mg/L|ISO 11732|0.09|0.07|0.05|0.05|0.05|<0.02|<0.02|<0.02|<0.02|<0.02
Fluoride|mg/L|ISO 10304-1|1.10|1.10|1.09|1.09|1.10|0.03|0.03|0.03|0.03|0.03
Silica (as SiO2)|mg/L|ISO 16264|28.0|28.0|27.9|27.9|28.0|0.50|0.51|0.51|0.51|0.51
Boron|mg/L|ISO 17294-2|1.20|1.20|1.20|1.19|1.20|0.41|0.42|0.42|0.42|0.42
Iron|µg/L|ISO 17294-2|620|45|30|12|13|<5|<5|<5|<5|<5
Manganese|µg/L|ISO 17294-2|140|38|35|33|33|<1|<1|<1|<1|<1
Arsenic|µg/L|ISO 17294-2|8.6|5.2|5.1|5.0|5.0|<0.5|<0.5|<0.5|<0.5|<0.5
Lead|µg/L|ISO 17294-2|0.9|0.6|0.5|0.5|0.5|<0.2|<0.2|<0.2|<0.2|<0.2
Bromate|µg/L|ISO 15061|3.4|3.5|3.2|3.2|3.2|<0.5|<0.5|<0.5|<0.5|<0.5
Total organic carbon|mg/L|ISO 8245|2.1|1.9|0.90|0.90|1.1|0.10|0.16|0.12|0.12|0.13
Chloroform|µg/L|ISO 15680|2.2|2.3|<0.5|<0.5|<0.5|<0.5|<0.5|<0.5|<0.5|<0.5
Bromodichloromethane|µg/L|ISO 15680|3.9|4.1|<0.5|<0.5|<0.5|<0.5|<0.5|<0.5|<0.5|<0.5
Dibromochloromethane|µg/L|ISO 15680|6.4|6.8|0.8|0.8|0.8|0.6|0.6|<0.5|<0.5|<0.5
Bromoform|µg/L|ISO 15680|9.8|10.6|2.0|2.0|2.0|1.4|1.4|<0.5|<0.5|<0.5
Trihalomethanes, total|µg/L|ISO 15680|22.3|23.8|2.8|2.8|2.8|2.0|2.0|ND|ND|ND
Heterotrophic plate count 22 °C|CFU/mL|ISO 6222|12|28|460|380|410|3|65|120|<1|1
Heterotrophic plate count 37 °C|CFU/mL|ISO 6222|4|9|85|70|74|<1|14|31|<1|<1
Total coliforms|CFU/250 mL|ISO 9308-1|Absent|Absent|6|4|4|Absent|Absent|1|Absent|Absent
Escherichia coli|CFU/250 mL|ISO 9308-1|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent
Intestinal enterococci|CFU/250 mL|ISO 7899-2|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent
Pseudomonas aeruginosa|CFU/250 mL|ISO 16266|Absent|Absent|12|9|8|Absent|Absent|2|Absent|Absent
"""

POINT_NAMES = (
    ("SP1", "raw tank outlet"),
    ("SP2", "after media filter"),
    ("SP3", "after activated carbon"),
    ("SP4", "after 5-micron cartridge"),
    ("SP5", "RO feed after antiscalant"),
    ("SP6", "RO permeate"),
    ("SP7", "product tank outlet"),
    ("SP8", "after post-carbon"),
    ("SP9", "after UV"),
    ("FP", "finished product at filler"),
)

# Two commissioning days of the same train, with the concentrate (CON) between SP6 and SP7: what differs from the panel
# above. At 70 % recovery the concentrate is (feed - 0.7 permeate)/0.3.
CONCENTRATE = """
pH|7.81
Electrical conductivity at 25 °C|13100
Total dissolved solids|8580
Total hardness (as CaCO3)|2350
Alkalinity (as CaCO3)|768
Calcium|530
Magnesium|248
Sodium|2200
Potassium|45.6
Chloride|3560
Sulfate|1395
Nitrate (as N)|13.2
Fluoride|3.58
Silica (as SiO2)|91.5
Boron|3.02
"""

# Parameter | SP1 … SP9 | FP; a row here takes the place of the row above
CLEAN_DAY = """
Heterotrophic plate count 22 °C|12|28|410|380|390|3|6|14|<1|<1
Heterotrophic plate count 37 °C|4|9|80|70|74|<1|2|5|<1|<1
Total coliforms|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent
Pseudomonas aeruginosa|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent|Absent
Trihalomethanes, total|22.3|23.8|2.8|2.8|2.8|2.0|2.0|<0.5|<0.5|<0.5
"""
FAULTY_DAY = """
Free chlorine|0.82|0.66|0.36|0.34|0.33|0.14|0.09|<0.02|<0.02|<0.02
Total chlorine|0.95|0.78|0.47|0.45|0.44|0.20|0.14|<0.02|<0.02|<0.02
Turbidity|2.4|0.35|0.28|0.12|0.13|<0.05|1.8|1.6|1.6|1.6
Heterotrophic plate count 22 °C|12|28|410|380|390|3|480|700|140|150
Heterotrophic plate count 37 °C|4|9|80|70|74|<1|160|230|52|55
Total coliforms|Absent|Absent|Absent|Absent|Absent|Absent|9|8|3|3
Pseudomonas aeruginosa|Absent|Absent|Absent|Absent|Absent|Absent|14|12|4|4
Trihalomethanes, total|22.3|23.8|2.8|2.8|2.8|2.0|2.0|<0.5|<0.5|<0.5
"""

# Date | days since the first reading are a week each; SI for the clean log
PLANT_LOG_HEADINGS = (
    "Date|Feed flow (m3/h)|Permeate flow (m3/h)|Concentrate flow (m3/h)|Feed pressure (bar)|"
    "Differential pressure (bar)|Permeate pressure (bar)|Temperature (°C)|Feed conductivity (µS/cm)|"
    "Permeate conductivity (µS/cm)|Concentrate conductivity (µS/cm)|Feed free chlorine (mg/L)|"
    "Cartridge pressure drop (bar)|Antiscalant dose (mg/L)|Antiscalant set point (mg/L)|UV dose (mJ/cm2)|"
    "UV transmittance (%)|Lamp hours (h)|Vessel 1 conductivity (µS/cm)|Vessel 2 conductivity (µS/cm)|"
    "Vessel 3 conductivity (µS/cm)|Remarks"
)
CLEAN_LOG = """
2025-04-01|8.0|5.6|2.4|12.4|1.70|0.4|21|4150|66|13090|0.00|0.14|3.0|3.0|52|93|980|58|65|75|cartridges changed
2025-04-08|8.0|5.6|2.4|12.4|1.70|0.4|21|4140|66|13080|0.00|0.16|3.0|3.0|52|93|1140|58|66|75|
2025-04-15|8.0|5.6|2.4|12.5|1.71|0.4|21|4160|67|13100|0.01|0.19|3.0|3.0|51|92|1310|59|66|76|
2025-04-22|8.0|5.6|2.4|12.4|1.71|0.4|21|4150|67|13090|0.00|0.21|3.1|3.0|51|93|1480|59|67|76|
2025-04-29|8.0|5.6|2.4|12.4|1.72|0.4|22|4150|68|13110|0.00|0.24|3.0|3.0|50|92|1640|60|68|77|
2025-05-06|8.0|5.6|2.4|12.4|1.72|0.4|22|4140|68|13100|0.01|0.26|2.9|3.0|51|92|1810|60|68|77|
2025-05-13|8.0|5.6|2.4|12.3|1.73|0.4|22|4150|69|13100|0.00|0.28|3.0|3.0|50|93|1980|61|69|78|
2025-05-20|8.0|5.6|2.4|12.3|1.73|0.4|22|4150|69|13110|0.00|0.31|3.0|3.0|50|92|2150|61|69|78|
"""
FAULTY_LAST = """
2025-05-06|8.0|5.6|2.4|12.4|1.72|0.4|22|4140|68|13100|0.12|0.26|2.9|3.0|41|84|1810|60|68|77|
2025-05-13|8.0|5.6|2.4|12.3|1.73|0.4|22|4150|69|13100|0.24|0.28|3.0|3.0|33|77|1980|61|69|78|water in the tank cloudy
2025-05-20|8.0|5.6|2.4|12.3|1.73|0.4|22|4150|69|13110|0.35|0.31|3.0|3.0|24|71|2150|61|69|78|water in the tank cloudy
"""
"""The newest rows of the faulty plant's log; the older ones are those of the clean log."""

# Parameter | Result | Unit | LOQ | Uncertainty | Method | hours from receipt to analysis
CLEAN_RUN = """
Escherichia coli|Absent|CFU/250 mL|||ISO 9308-1|2
Total coliforms|Absent|CFU/250 mL|||ISO 9308-1|2
Intestinal enterococci|Absent|CFU/250 mL|||ISO 7899-2|2
Pseudomonas aeruginosa|Absent|CFU/250 mL|||ISO 16266|2
Heterotrophic plate count 22 °C|3|CFU/mL|1||ISO 6222|3
Heterotrophic plate count 37 °C|<1|CFU/mL|1||ISO 6222|3
pH|6.3|pH|2.0|0.1|ISO 10523|1
Electrical conductivity at 20 °C|68|µS/cm|1|2|ISO 7888|1
Total dissolved solids|40|mg/L|5|4|In-house G-04|24
Turbidity|0.08|NTU|0.05|0.02|ISO 7027-1|1
Colour|<2|mg/L Pt-Co|2||ISO 7887|1
Odour|<1|TON|1||EN 1622|2
Free chlorine|<0.02|mg/L|0.02||ISO 7393-2|1
Total chlorine|<0.02|mg/L|0.02||ISO 7393-2|1
Alkalinity (as CaCO3)|5.3|mg/L|1.0|0.5|ISO 9963-1|4
Total hardness (as CaCO3)|2.6|mg/L|0.5|0.3|ISO 6059|4
Calcium|0.58|mg/L|0.05|0.05|ISO 17294-2|26
Magnesium|0.27|mg/L|0.05|0.03|ISO 17294-2|26
Sodium|14.1|mg/L|0.1|1.1|ISO 17294-2|26
Potassium|0.33|mg/L|0.05|0.04|ISO 17294-2|26
Chloride|17.4|mg/L|0.5|1.2|ISO 10304-1|5
Sulfate|2.1|mg/L|0.5|0.2|ISO 10304-1|5
Fluoride|0.03|mg/L|0.02|0.01|ISO 10304-1|5
Nitrate (as NO3)|1.7|mg/L|0.1|0.2|ISO 10304-1|5
Nitrite (as NO2)|<0.02|mg/L|0.02||ISO 10304-1|5
Ammonium (as NH4)|<0.02|mg/L|0.02||ISO 11732|6
Cyanide|<5|µg/L|5||ISO 14403-2|28
Silica (as SiO2)|0.55|mg/L|0.05|0.05|ISO 16264|27
Total organic carbon|0.13|mg/L|0.10|0.03|ISO 8245|25
Phenols|<0.5|µg/L|0.5||ISO 14402|29
Aluminium|<2|µg/L|2||ISO 17294-2|26
Antimony|<0.2|µg/L|0.2||ISO 17294-2|26
Arsenic|<0.5|µg/L|0.5||ISO 17294-2|26
Barium|0.4|µg/L|0.2|0.1|ISO 17294-2|26
Beryllium|<0.1|µg/L|0.1||ISO 17294-2|26
Boron|0.46|mg/L|0.01|0.04|ISO 17294-2|26
Cadmium|<0.05|µg/L|0.05||ISO 17294-2|26
Chromium|<0.2|µg/L|0.2||ISO 17294-2|26
Copper|1.2|µg/L|0.5|0.2|ISO 17294-2|26
Iron|<5|µg/L|5||ISO 17294-2|26
Lead|<0.2|µg/L|0.2||ISO 17294-2|26
Manganese|<1|µg/L|1||ISO 17294-2|26
Mercury|<0.02|µg/L|0.02||ISO 12846|50
Nickel|<0.5|µg/L|0.5||ISO 17294-2|26
Selenium|<0.5|µg/L|0.5||ISO 17294-2|26
Silver|<0.1|µg/L|0.1||ISO 17294-2|26
Thallium|<0.05|µg/L|0.05||ISO 17294-2|26
Uranium|<0.05|µg/L|0.05||ISO 17294-2|26
Zinc|4|µg/L|2|1|ISO 17294-2|26
Bromate|<0.5|µg/L|0.5||ISO 15061|30
Chlorite|<10|µg/L|10||ISO 10304-4|30
Chlorate|<10|µg/L|10||ISO 10304-4|30
Chloroform|<0.5|µg/L|0.5||ISO 15680|48
Bromodichloromethane|<0.5|µg/L|0.5||ISO 15680|48
Dibromochloromethane|<0.5|µg/L|0.5||ISO 15680|48
Bromoform|<0.5|µg/L|0.5||ISO 15680|48
Trihalomethanes, total|<2|µg/L|2||ISO 15680|48
Haloacetic acids (HAA5)|<5|µg/L|5||In-house O-11|52
Benzene|<0.1|µg/L|0.1||ISO 15680|48
Toluene|<0.2|µg/L|0.2||ISO 15680|48
Ethylbenzene|<0.2|µg/L|0.2||ISO 15680|48
Xylenes|<0.5|µg/L|0.5||ISO 15680|48
Styrene|<0.2|µg/L|0.2||ISO 15680|48
Chlorobenzene|<0.2|µg/L|0.2||ISO 15680|48
1,2-Dichlorobenzene|<0.2|µg/L|0.2||ISO 15680|48
1,4-Dichlorobenzene|<0.2|µg/L|0.2||ISO 15680|48
1,2,4-Trichlorobenzene|<0.2|µg/L|0.2||ISO 15680|48
Carbon tetrachloride|<0.2|µg/L|0.2||ISO 15680|48
1,2-Dichloroethane|<0.2|µg/L|0.2||ISO 15680|48
1,1-Dichloroethene|<0.2|µg/L|0.2||ISO 15680|48
cis-1,2-Dichloroethene|<0.2|µg/L|0.2||ISO 15680|48
trans-1,2-Dichloroethene|<0.2|µg/L|0.2||ISO 15680|48
Dichloromethane|<0.5|µg/L|0.5||ISO 15680|48
1,2-Dichloropropane|<0.2|µg/L|0.2||ISO 15680|48
1,1,1-Trichloroethane|<0.2|µg/L|0.2||ISO 15680|48
1,1,2-Trichloroethane|<0.2|µg/L|0.2||ISO 15680|48
Trichloroethene|<0.2|µg/L|0.2||ISO 15680|48
Tetrachloroethene|<0.2|µg/L|0.2||ISO 15680|48
Vinyl chloride|<0.1|µg/L|0.1||ISO 15680|48
Benzo(a)pyrene|<0.002|µg/L|0.002||ISO 17993|72
Di(2-ethylhexyl)phthalate|<0.5|µg/L|0.5||ISO 18856|72
Pentachlorophenol|<0.05|µg/L|0.05||In-house O-14|72
Alachlor|<0.02|µg/L|0.02||ISO 27108|72
Atrazine|<0.02|µg/L|0.02||ISO 27108|72
Desethylatrazine|<0.02|µg/L|0.02||ISO 27108|72
Desisopropylatrazine|<0.02|µg/L|0.02||ISO 27108|72
Diaminochlorotriazine|<0.05|µg/L|0.05||In-house O-14|72
Simazine|<0.02|µg/L|0.02||ISO 27108|72
Carbofuran|<0.02|µg/L|0.02||In-house O-14|72
2,4-D|<0.05|µg/L|0.05||In-house O-14|72
Lindane|<0.01|µg/L|0.01||ISO 6468|72
Endrin|<0.01|µg/L|0.01||ISO 6468|72
Methoxychlor|<0.01|µg/L|0.01||ISO 6468|72
Hexachlorobenzene|<0.01|µg/L|0.01||ISO 6468|72
Glyphosate|<0.05|µg/L|0.05||ISO 16308|74
Gross alpha activity|<0.02|Bq/L|0.02||ISO 10704|96
Gross beta activity|<0.05|Bq/L|0.05||ISO 10704|96
"""

# Parameter | Unit | start of run | middle of run | end of run
TROUBLED_RUN = """
pH|pH|6.2|6.3|6.3
Conductivity at 20 °C|µS/cm|71|72|88
TDS|mg/L|42|43|53
Turbidity|NTU|0.09|0.08|O.5
Free chlorine|mg/L|<0.02|<0.02|<0.02
Chloride|mg/L|18.1|18.4|23.0
Sulfate|mg/L|2.2|2.2|2.9
Nitrate (as NO3)|mg/L|1.8|1.8|2.3
Nitrite (as NO2)|mg/L|<0.02||<0.02
Sodium|mg/L|14.6|14.9|18.4
Boron|mg/L|0.47|0.47|0.52
Arsenic|µg/L|0.8|1.1|14
Lead|µg/L|<0.2|<0.2|<10
Cadmium|µg/L|<0.05|<0.05|<0.05
Iron|µg/L|<5|<5|21
Bromate|µg/L|0.7|0.7|0.9
Total trihalomethanes|µg/L|<2|<2|2.6
TOC|mg/L|0.14|0.14|0.22
HPC 22 °C|CFU/mL|4|6|TNTC
HPC 37 °C|CFU/mL|<1|1|38
Total coliforms|CFU/250 mL|Absent|Absent|Absent
Enterococci|CFU/100 mL|Absent|Absent|Absent
Pseudomonas aeruginosa|CFU/100 mL|Absent|Absent|Absent
"""


HISTORY_HEADINGS = (
    "Sampled,Batch,Sampling point,pH,Electrical conductivity at 20 °C (µS/cm),Total dissolved solids (mg/L),"
    "Turbidity (NTU),Chloride (mg/L),Nitrate as NO3 (mg/L),Boron (mg/L),Arsenic (µg/L),Lead (µg/L),Bromate (µg/L),"
    "Total organic carbon (mg/L),Heterotrophic plate count 22 °C (CFU/mL),Escherichia coli (CFU/250 mL),"
    "Total coliforms (CFU/250 mL),Pseudomonas aeruginosa (CFU/250 mL)"
)
FRENCH_HEADINGS = (
    "Date de prélèvement;Lot;Point de prélèvement;pH;Conductivité à 20 °C (µS/cm);Turbidité (NTU);Chlorures (mg/L);"
    "Nitrates en NO3 (mg/L);Bore (mg/L);Arsenic (µg/L);Plomb (µg/L);Bromates (µg/L);Escherichia coli (UFC/250 mL);"
    "Coliformes totaux (UFC/250 mL);Pseudomonas aeruginosa (UFC/250 mL)"
)


def rows_of(panel: str) -> list[list[str]]:
    """Split one of the blocks above into rows of trimmed cells."""
    return [[cell.strip() for cell in line.split("|")] for line in panel.strip().splitlines()]
