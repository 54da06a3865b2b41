package config

import "ductwarden/controller/airflow"

// celsius is the zero of degrees Celsius, K.
const celsius = 273.15

// settle works out density and viscosity of the shop's air where they were not given.
func (a *Air) settle() {
	at := airflow.AirAt(a.Altitude, a.Temperature-celsius)
	if !a.Given {
		a.Density, a.Viscosity = at.Density, at.Viscosity
	} else if a.Viscosity == 0 {
		a.Viscosity = at.Viscosity
	}
}
