"""What other readers find in exported responses: scikit-rf for Touchstone, the csv module for tables. For each file named
on the command line one line of JSON on standard output, numbers with all their digits.

scikit-rf of Debian 12 makes networks of S files only; of a Z file its Touchstone reader gives the numbers as they
stand, so the reader of this output applies the specification's rule about the reference resistance."""
import csv
import json
import pathlib
import sys
import warnings

import numpy

numpy.complex = complex  # scikit-rf 0.15 still uses the name that numpy 1.24 took away
warnings.simplefilter("ignore")

from skrf import Network  # noqa: E402
from skrf.io.touchstone import Touchstone  # noqa: E402


def read_touchstone(path):
    file = Touchstone(str(path))
    frequency, parameter = file.get_sparameter_arrays()
    found = {
        "version": file.version,
        "parameter": file.parameter,
        "reference": float(file.resistance),
        "frequency_hz": frequency.tolist(),
        "real": parameter[:, 0, 0].real.tolist(),
        "imaginary": parameter[:, 0, 0].imag.tolist(),
    }
    if file.parameter == "s":
        network = Network(str(path))
        found["network_hz"] = network.f.tolist()
        found["z_real"] = network.z[:, 0, 0].real.tolist()
        found["z_imaginary"] = network.z[:, 0, 0].imag.tolist()
    return found


def read_table(path):
    with open(path, newline="") as file:
        rows = list(csv.reader(file, strict=True))
    columns = list(zip(*rows[1:]))
    return {name: [float(cell) if cell else None for cell in column] for name, column in zip(rows[0], columns)}


with open(sys.argv[1], "w") as out:
    for name in sys.argv[2:]:
        path = pathlib.Path(name)
        out.write(json.dumps(read_table(path) if path.suffix == ".csv" else read_touchstone(path)) + "\n")
