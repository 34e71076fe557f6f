"""The protocols worked by: the program's own format, nothing else of it."""

SPECIES = """
[species.perch]
title = "perch"
limits.total_length = { possible = [20, 650] }
limits.whole_mass = { possible = [0.1, 5000] }

[species.roach]
title = "roach"
limits.total_length = { possible = [20, 600] }
limits.whole_mass = { possible = [0.1, 3000] }

[species.bream]
title = "bream"
limits.total_length = { possible = [20, 900] }
limits.whole_mass = { possible = [0.1, 9000] }

[species.pike]
title = "pike"
limits.total_length = { possible = [20, 1500] }
limits.whole_mass = { possible = [0.1, 30000] }
"""

SEX = """
[codes.sex]
scale = "sex"
values = { F = "female", M = "male", U = "tried, could not tell" }
"""

ENVELOPES = """
[containers]
kind = "envelope"
role = "last"
structure = "otolith"
label = "L26-####-?"
check = "mod-11-10"
first = "L26-0001-8"
"""

SOLO_PROTOCOL = f"""
name = "solo"
flow = "solo"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = {{ rule = "below", step = "1 cm" }}

[[measurands]]
name = "whole_mass"
quantity = "mass"
rounding = {{ rule = "nearest", step = "1 g" }}
{SPECIES}{SEX}{ENVELOPES}
"""

RATIOS = """
[species.perch.ratios.total_length]
of = "fork_length"
range = [1.02, 1.08]

[species.roach.ratios.total_length]
of = "fork_length"
range = [1.06, 1.14]

[species.bream.ratios.total_length]
of = "fork_length"
range = [1.09, 1.18]

[species.pike.ratios.total_length]
of = "fork_length"
range = [1.03, 1.10]
"""


def row_protocol(tags: bool) -> str:
    """Board, scale, knife."""
    queue = "queue = 3" if tags else "queue = 1"
    return f"""
name = "row"
flow = "row"
order = [["fork_length", "total_length"]]

[[row]]
place = "board"
measurands = ["fork_length", "total_length"]

[[row]]
place = "scale"
measurands = ["whole_mass"]
{queue}

[[row]]
place = "knife"
{queue}

[[measurands]]
name = "fork_length"
quantity = "length"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = {{ rule = "below", step = "1 cm" }}

[[measurands]]
name = "whole_mass"
quantity = "mass"
{SPECIES}{RATIOS}{SEX}{ENVELOPES}
""" + ('\n[tags]\nlabel = "T##"\n' if tags else "")


LAB_PROTOCOL = f"""
name = "lab"
flow = "revisit"
order = [["thawed_gutted_mass", "thawed_whole_mass"]]

[[measurands]]
name = "thawed_whole_mass"
quantity = "mass"

[[measurands]]
name = "thawed_gutted_mass"
quantity = "mass"

[[measurands]]
name = "gonad_mass"
quantity = "mass"
sides = ["left", "right"]

[[measurands]]
name = "liver_mass"
quantity = "mass"

[[measurands]]
name = "total_length"
quantity = "length"
required = false
{SPECIES.replace("limits.whole_mass", "limits.thawed_whole_mass")}{SEX}{ENVELOPES}
"""

FIELD_PROTOCOL = f"""
name = "field"
flow = "solo"

[[measurands]]
name = "total_length"
quantity = "length"
{SPECIES.replace("limits.whole_mass", "#")}{SEX}{ENVELOPES}
"""

TALLY_PROTOCOL = f"""
name = "tally"
flow = "tally"
tally = "total_length"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = {{ rule = "below", step = "1 cm" }}
{SPECIES.replace("limits.whole_mass", "#")}{SEX}
"""

SHORE_PROTOCOL = f"""
name = "shore"
flow = "solo"

[[measurands]]
name = "total_length"
quantity = "length"

[[measurands]]
name = "whole_mass"
quantity = "mass"
hand_division = "1 g"
{SPECIES}"""
