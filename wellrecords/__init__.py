"""wellrecords: from well records to a priced bid for a new lot.

The rooms, in the order in which the data runs through them:

- `wellrecords.sources`, `readings`, `places`, `cleaning`, `matching`: files in, one clean table out
- `wellrecords.store`: the dataset on disk, in versions
- `wellrecords.interpolation`: quantities in space, as distributions
- `wellrecords.lots`, `demand`, `siting`: what a new lot may expect and what it needs
- `wellrecords.construction`, `water_system`, `bid`: the well, the water system, the price
- `wellrecords.report`: the HTML reports
- `wellrecords.outcomes`: the drilled well against its estimate
"""

__version__ = "0.1.0"
