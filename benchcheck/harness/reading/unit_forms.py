"""The form of a unit type file (units/<type>.toml)."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from benchcheck.harness.reading.forms import (
    ContactName,
    FamilyName,
    Form,
    GenderName,
    Name,
    Number,
    Pin,
    PinRows,
    Ref,
    Text,
    Whole,
)

RoleName = Literal["power", "ground", "signal", "can_h", "can_l", "rs232_tx", "rs232_rx", "shield", "bridge", "coax"]


class UnitConnectorForm(Form):
    """[[connectors]]: one of the unit's own connectors."""

    name: Ref = Field(description="the unit's own name for it")
    family: FamilyName = Field(description="connector family")
    gender: GenderName | None = Field(None, description="pin or socket, of the unit's half; none for terminals")
    rows: PinRows = Field((), description="circular, terminals: contacts row by row; may be left out")


class UnitContactForm(Form):
    """[[contacts]]: one contact of the unit."""

    connector: Ref = Field(description="the unit's connector")
    contact: Pin = Field(description="the contact in it")
    name: Text = Field("", description="what the unit's papers call it")
    role: RoleName = Field(description="what it is for")
    need: Literal["needed", "optional", "unused"] = Field("needed", description="whether it must have a run")
    feed_v: Number | None = Field(
        None, gt=0, le=400, description="nominal volts it wants, or a converter's output gives"
    )
    load_a: Number = Field(0.0, ge=0, le=200, description="current it draws, amperes")
    protocol: Text = Field("", description="what is spoken on it")


class UnitPathForm(Form):
    """[[paths]]: what the unit connects inside, as the bench sees it."""

    kind: Literal["through", "terminator", "input", "case_ground", "converter", "diode"] = Field(
        description="kind of path"
    )
    a: ContactName = Field(description="contact of the unit: J1-4; a converter's input, a diode's anode")
    b: ContactName | None = Field(None, description="the other contact; left out for case_ground")
    ohm: Number = Field(0.0, ge=0, le=1e9, description="resistance, ohms")
    enabled_by: tuple[ContactName, ContactName] | None = Field(None, description="a bridge between these enables it")
    farad: Number = Field(0.0, ge=0, le=10, description="input: capacitance beside the resistance, farads")
    efficiency: Number | None = Field(None, gt=0, le=1, description="converter: output power by input power")


class UnitTypeForm(Form):
    """The top of a unit type file."""

    schema_: Whole = Field(alias="schema", description="version of this form: 1")
    title: Name = Field(description="what the unit is")
    boot_s: Number = Field(2.0, ge=0, le=3600, description="seconds from power on to the first message, at most")
    connectors: tuple[dict[str, Any], ...] = Field(description="its connectors")
    contacts: tuple[dict[str, Any], ...] = Field(description="its contacts")
    paths: tuple[dict[str, Any], ...] = Field((), description="what it connects inside")


UNIT_TABLES: dict[str, type[Form]] = {
    "": UnitTypeForm,
    "connectors": UnitConnectorForm,
    "contacts": UnitContactForm,
    "paths": UnitPathForm,
}
