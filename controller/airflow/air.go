package airflow

import "math"

// GasConstant of dry air, J/(kg K). Source: US Standard Atmosphere 1976.
const GasConstant = 287.05287

// freezing is 0 degrees Celsius in K.
const freezing = 273.15

// PressureAt is the pressure of the still air (Pa) at an altitude (m above the sea). Source: US Standard
// Atmosphere in the form that ASHRAE prints, 101325 (1 - 2.25577e-5 h)^5.2559; good to 11 km.
func PressureAt(altitude float64) float64 {
	return 101325 * math.Pow(1-float64(2.25577e-5*altitude), 5.2559)
}

// Density is that of dry air (kg/m3) at a pressure (Pa) and a temperature (degrees Celsius), an ideal gas.
func Density(pressure, celsius float64) float64 {
	return pressure / (GasConstant * (celsius + freezing))
}

// Viscosity is the dynamic viscosity of air (Pa s) at a temperature (degrees Celsius): Sutherland's formula
// with the constants of the US Standard Atmosphere 1976, 1.458e-6 T^1.5/(T + 110.4).
func Viscosity(celsius float64) float64 {
	t := celsius + freezing
	return 1.458e-6 * t * math.Sqrt(t) / (t + 110.4)
}

// AirAt is the air of a shop at an altitude (m) and a temperature (degrees Celsius).
func AirAt(altitude, celsius float64) Air {
	return Air{Density: Density(PressureAt(altitude), celsius), Viscosity: Viscosity(celsius)}
}

// VelocityPressure is rho/2 V^2 (Pa) at a speed in m/s.
func (a Air) VelocityPressure(speed float64) float64 { return a.Density / 2 * speed * speed }

// SpeedAt is the speed (m/s) that has a velocity pressure (Pa).
func (a Air) SpeedAt(pressure float64) float64 { return math.Sqrt(2 * pressure / a.Density) }

// FanLaws carry a fan's point from one speed and density to another: the flow goes with the speed, the pressure
// with speed squared and density, the power with speed cubed and density. Source: the fan laws, as the ORNL
// motor tools compute them (which add compressibility, 0.04 % at most in their examples).
func FanLaws(flow, pressure, power, speedRatio, densityRatio float64) (q, p, w float64) {
	n := speedRatio
	return flow * n, pressure * n * n * densityRatio, power * n * n * n * densityRatio
}
