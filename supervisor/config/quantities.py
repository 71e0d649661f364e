"""The quantities that tables of the files are made of: what each is, and between which bounds."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from supervisor.config.shape import Quantity

Text = Annotated[str, Field(min_length=1, max_length=200)]

Duration = Annotated[float, Quantity("time", above=0.0)]
Delay = Annotated[float, Quantity("time", least=0.0)]
Current = Annotated[float, Quantity("current", above=0.0)]
Voltage = Annotated[float, Quantity("voltage", above=0.0)]
Temperature = Annotated[float, Quantity("temperature")]
Deadband = Annotated[float, Quantity("temperature difference", least=0.0)]
Band = Annotated[float, Quantity("temperature difference", above=0.0)]
Density = Annotated[float, Quantity("current density", above=0.0)]
Thickness = Annotated[float, Quantity("thickness", above=0.0)]
Area = Annotated[float, Quantity("area", above=0.0)]
Volume = Annotated[float, Quantity("volume", above=0.0)]
Growth = Annotated[float, Quantity("growth", above=0.0)]
Power = Annotated[float, Quantity("power", above=0.0)]
Share = Annotated[float, Quantity("fraction", least=0.0, most=0.5)]
Altitude = Annotated[float, Quantity("altitude", least=-430.0, most=6000.0)]
Baud = Annotated[float, Quantity("bit rate", least=300.0, most=1_000_000.0)]
Ripple = Annotated[float, Quantity("fraction", least=0.0, most=1.0)]
