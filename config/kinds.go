package config

import "ductwarden/controller/airflow"

// pipeSizes lists the nominal sizes of pipe that the airflow model knows.
func pipeSizes() []string {
	pipes := airflow.Pipes()
	names := make([]string, len(pipes))
	for i, p := range pipes {
		names[i] = p.Name
	}
	return names
}
