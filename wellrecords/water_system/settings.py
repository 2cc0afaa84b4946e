"""What the home water system is built of, and the margins it keeps.

Sizes on sale, margins and limits are the firm's; the defaults are samples.
Licensed plumbing and electrical practice and the local code govern.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wellrecords.water_system.wiring import OHM_PER_KFT


class WaterSystemSettings(BaseModel):
    """How the water system is laid out.

    Parameters
    ----------
    cut_in_psi, cut_out_psi : float, default=40 and 60
        Of the pressure switch.
    precharge_below_cut_in_psi : float, default=2
        Water Systems Council, "Pressure tanks".
    atmosphere_psi : float, default=14.7
        At sea level; 11.8 at 6,000 ft.
    minimum_run_min : float, default=1
        Least time that the pump runs once started (common practice up to 1 hp).
    pump_above_bottom_ft : float, default=10
        Between the bottom of the hole (or the top of the screen) and the pump.
    submergence_ft : float, default=10
        Water kept above the pump; the low-water cut-off stands there.
    level_decline_ft : float, default=30
        Allowance for dry years and a clogging well, where the pump need not
        hang near the bottom.
    house_above_well_ft, run_to_house_ft : float, default=10 and 100
    pipe_c : float, default=150
        Hazen-Williams coefficient of plastic pipe.
    pipes_in : dict of float to float
        Nominal size -> inside diameter of the pipes on sale (schedule 40).
    friction_limit_ft_per_100ft : float, default=5
        The pipe is the smallest that loses no more (common practice).
    fittings_share : float, default=0.1
        Loss in fittings as a share of that in pipe.
    pump_efficiency : float, default=0.5
        Of small submersible pumps (from memory: 0.4 to 0.6).
    motors_hp : dict of float to float
        Motor -> full-load current in amperes at `voltage_v`: NFPA 70, table
        430.248, single phase, 230 V (from memory).
    voltage_v : float, default=230
    voltage_drop_share : float, default=0.05
        Common practice for feeder and branch circuit together.
    cables_awg : tuple of int
    pressure_tanks_gal : tuple of float
        Volumes on sale.
    storage_tanks_gal : tuple of float
        Volumes on sale; plastic tanks from some 150 gallons up are common
        practice.
    storage_for : {"house", "irrigation"}, default="house"
        What the storage tank must carry. Under "irrigation" lawn and garden
        too, watered as the demand's `watering_every_days` and
        `watering_hours` say; a well that cannot water them in any case is
        sized for the house.
    storage_margin : float, default=0.25
        Volume of the storage tank beyond what is needed, as a share: for the
        float's play, sludge and a dry year (common practice).
    tank_inlet_ft : float, default=8
        Height of the storage tank's inlet above the house's floor.
    tank_fill_gpm : float, default=5
        Least flow of a well pump that fills a storage tank; a well that
        makes more gets a pump for what it makes.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    cut_in_psi: float = Field(default=40.0, gt=0)
    cut_out_psi: float = Field(default=60.0, gt=0)
    precharge_below_cut_in_psi: float = Field(default=2.0, ge=0)
    atmosphere_psi: float = Field(default=14.7, gt=0)
    minimum_run_min: float = Field(default=1.0, gt=0)
    pump_above_bottom_ft: float = Field(default=10.0, ge=0)
    submergence_ft: float = Field(default=10.0, ge=0)
    level_decline_ft: float = Field(default=30.0, ge=0)
    house_above_well_ft: float = 10.0
    run_to_house_ft: float = Field(default=100.0, ge=0)
    pipe_c: float = Field(default=150.0, gt=0)
    pipes_in: dict[float, float] = {1.0: 1.049, 1.25: 1.380, 1.5: 1.610, 2.0: 2.067}
    friction_limit_ft_per_100ft: float = Field(default=5.0, gt=0)
    fittings_share: float = Field(default=0.1, ge=0)
    pump_efficiency: float = Field(default=0.5, gt=0, le=1)
    motors_hp: dict[float, float] = {0.5: 4.9, 0.75: 6.9, 1.0: 8.0, 1.5: 10.0, 2.0: 12.0, 3.0: 17.0, 5.0: 28.0}
    voltage_v: float = Field(default=230.0, gt=0)
    voltage_drop_share: float = Field(default=0.05, gt=0, lt=1)
    cables_awg: tuple[int, ...] = (14, 12, 10, 8, 6, 4)
    pressure_tanks_gal: tuple[float, ...] = (20.0, 32.0, 44.0, 62.0, 86.0, 119.0)
    storage_tanks_gal: tuple[float, ...] = (150.0, 300.0, 500.0, 1000.0, 1500.0, 2500.0)
    storage_for: Literal["house", "irrigation"] = "house"
    storage_margin: float = Field(default=0.25, ge=0)
    tank_inlet_ft: float = Field(default=8.0, ge=0)
    tank_fill_gpm: float = Field(default=5.0, gt=0)

    @model_validator(mode="after")
    def _check(self) -> WaterSystemSettings:
        if self.cut_in_psi >= self.cut_out_psi:
            msg = "cut_in_psi must lie below cut_out_psi"
            raise ValueError(msg)
        for name in ("pipes_in", "motors_hp", "cables_awg", "pressure_tanks_gal", "storage_tanks_gal"):
            sizes = getattr(self, name)
            if not sizes or min(sizes) <= 0:
                msg = f"{name} needs at least one size, all above 0"
                raise ValueError(msg)
        unknown = [gauge for gauge in self.cables_awg if gauge not in OHM_PER_KFT]
        if unknown:
            msg = f"cables_awg holds {unknown}; known gauges are {sorted(OHM_PER_KFT, reverse=True)}"
            raise ValueError(msg)
        return self
