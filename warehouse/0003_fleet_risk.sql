-- The room fleet_risk hands on weekly tables of its own: docks compared, the challenger's chances.

create schema fleet_risk;
