package fakehub_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/publish/fakehub"
)

const goodSensor = `{"platform":"sensor","unique_id":"u","name":"speed","state_topic":"s/t","value_template":"{{ value_json.x }}","device_class":"speed","unit_of_measurement":"m/s","state_class":"measurement"}`

func device(component string) string {
	return `{"device":{"identifiers":["a"],"name":"Shop"},"origin":{"name":"o"},"components":{"c":` + component + `}}`
}

// with changes one key of the good sensor; null removes it.
func with(t *testing.T, key, value string) string {
	t.Helper()
	var o map[string]json.RawMessage
	require.NoError(t, json.Unmarshal([]byte(goodSensor), &o))
	if o[key] = json.RawMessage(value); value == "null" {
		delete(o, key)
	}
	b, err := json.Marshal(o)
	require.NoError(t, err)
	return device(string(b))
}

func TestRules(t *testing.T) {
	const topic = "p/device/a/config"
	cases := []struct {
		name, topic, payload string
		grade                fakehub.Grade // "" = no finding
		text                 string
	}{
		{"good", topic, device(goodSensor), "", ""},
		{"told as gone", topic, device(`{"platform":"sensor"}`), "", ""},
		{"cleared", topic, "", "", ""},
		{"moves to the other form", topic, `{"migrate_discovery": true}`, "", ""},
		{"not an object", topic, `[1]`, fakehub.DropsDocument, "not a JSON object"},
		{"bad id", "p/device/my shop/config", device(goodSensor), fakehub.DropsDocument, "characters outside"},
		{"bad topic", "p/device/config", device(goodSensor), fakehub.DropsDocument, "the topic is none"},
		{"no device", topic, `{"origin":{"name":"o"},"components":{}}`, fakehub.DropsDocument, "device is missing"},
		{"no identifiers", topic, `{"device":{"name":"x"},"origin":{"name":"o"},"components":{}}`, fakehub.DropsDocument, "neither identifiers"},
		{"connections", topic, `{"device":{"connections":[["mac","x"]]},"origin":{"name":"o"},"components":{}}`, "", ""},
		{"odd connections", topic, `{"device":{"connections":[["mac"]]},"origin":{"name":"o"},"components":{}}`, fakehub.DropsDocument, "no pair"},
		{"no origin", topic, `{"device":{"identifiers":["a"]},"components":{}}`, fakehub.DropsDocument, "origin.name"},
		{"no components", topic, `{"device":{"identifiers":["a"]},"origin":{"name":"o"}}`, fakehub.DropsDocument, "components is missing"},
		{"odd web address", topic, `{"device":{"identifiers":["a"],"configuration_url":"shop.local"},"origin":{"name":"o"},"components":{}}`, fakehub.DropsDocument, "no web address"},
		{"no platform", topic, device(`{"unique_id":"u"}`), fakehub.DropsDocument, "no platform"},
		{"odd platform", topic, device(`{"platform":"damper","unique_id":"u"}`), fakehub.DropsDocument, "unknown platform"},
		{"no unique id", topic, with(t, "unique_id", "null"), fakehub.DropsDocument, "no unique_id"},
		{"wildcard in the shared topic", topic, `{"device":{"identifiers":["a"]},"origin":{"name":"o"},"state_topic":"a/#","components":{}}`, fakehub.DropsDocument, "no topic"},
		{"availability twice", topic, `{"device":{"identifiers":["a"]},"origin":{"name":"o"},"availability_topic":"a","availability":[{"topic":"b"}],"components":{}}`, fakehub.DropsDocument, "exclude"},
		{"availability without a topic", topic, `{"device":{"identifiers":["a"]},"origin":{"name":"o"},"availability":[{}],"components":{}}`, fakehub.DropsDocument, "has no topic"},
		{"not ASCII", topic, `{"device":{"identifiers":["ä"]},"origin":{"name":"o"},"components":{}}`, fakehub.Warns, "not plain ASCII"},
		{"unknown root key", topic, `{"device":{"identifiers":["a"]},"origin":{"name":"o"},"components":{},"extra":1}`, fakehub.Warns, "not known"},
		{"unknown class", topic, with(t, "device_class", `"velocity"`), fakehub.DropsComponent, "device_class"},
		{"feet per minute", topic, with(t, "unit_of_measurement", `"ft/min"`), fakehub.DropsComponent, "is none of the class"},
		{"energy is no measurement", topic, device(`{"platform":"sensor","unique_id":"u","state_topic":"s","device_class":"energy","unit_of_measurement":"kWh","state_class":"measurement"}`), fakehub.Warns, "does not fit"},
		{"options without the class", topic, with(t, "options", `["a"]`), fakehub.DropsComponent, "options need"},
		{"empty options", topic, device(`{"platform":"sensor","unique_id":"u","state_topic":"s","device_class":"enum","options":[]}`), fakehub.DropsComponent, "options need"},
		{"unit on a time", topic, device(`{"platform":"sensor","unique_id":"u","state_topic":"s","device_class":"timestamp","unit_of_measurement":"s"}`), fakehub.DropsComponent, "neither a unit"},
		{"angle", topic, device(`{"platform":"sensor","unique_id":"u","state_topic":"s","state_class":"measurement_angle","unit_of_measurement":"m"}`), fakehub.DropsComponent, "needs the unit"},
		{"last reset", topic, with(t, "last_reset_value_template", `"x"`), fakehub.DropsComponent, "needs the state class"},
		{"category config", topic, with(t, "entity_category", `"config"`), fakehub.DropsComponent, "cannot be"},
		{"category odd", topic, with(t, "entity_category", `"other"`), fakehub.DropsComponent, "not known"},
		{"no state topic", topic, with(t, "state_topic", "null"), fakehub.DropsComponent, "state_topic is missing"},
		{"wildcard in the middle", topic, with(t, "state_topic", `"a/#/b"`), fakehub.DropsComponent, "no topic to subscribe"},
		{"button without a command", topic, device(`{"platform":"button","unique_id":"u"}`), fakehub.DropsComponent, "command_topic is missing"},
		{"command with a wildcard", topic, device(`{"platform":"button","unique_id":"u","command_topic":"a/+"}`), fakehub.DropsComponent, "no topic to publish"},
		{"retained command", topic, device(`{"platform":"button","unique_id":"u","command_topic":"a","retain":true}`), fakehub.Warns, "retained"},
		{"event without types", topic, device(`{"platform":"event","unique_id":"u","state_topic":"a"}`), fakehub.DropsComponent, "event_types"},
		{"cover position", topic, device(`{"platform":"cover","unique_id":"u","state_topic":"a","set_position_topic":"b"}`), fakehub.DropsComponent, "needs position_topic"},
		{"cover class", topic, device(`{"platform":"cover","unique_id":"u","state_topic":"a","device_class":"blast"}`), fakehub.DropsComponent, "not known"},
		{"cover without state", topic, device(`{"platform":"cover","unique_id":"u","command_topic":"a"}`), fakehub.Warns, "believes its own"},
		{"binary class", topic, device(`{"platform":"binary_sensor","unique_id":"u","state_topic":"a","device_class":"dust"}`), fakehub.DropsComponent, "not known"},
		{"old name of the entity id", topic, with(t, "object_id", `"x"`), fakehub.Warns, "object_id"},
		{"entity id of another platform", topic, with(t, "default_entity_id", `"cover.x"`), fakehub.DropsComponent, "is not sensor."},
		{"name like the device", topic, with(t, "name", `"Shop speed"`), fakehub.Warns, "begins with"},
		{"other template", topic, with(t, "value_template", `"{{ value }}"`), fakehub.DropsComponent, "not of the form"},
		{"single", "p/sensor/a/c/config", `{"device":{"identifiers":["a"]},"origin":{"name":"o"},"unique_id":"u","state_topic":"s"}`, "", ""},
		{"single, odd platform", "p/damper/a/c/config", `{"device":{"identifiers":["a"]},"origin":{"name":"o"}}`, fakehub.DropsDocument, "not known"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, _, findings := fakehub.Document("p", c.topic, []byte(c.payload))
			if c.grade == "" {
				assert.Empty(t, findings)
				return
			}
			require.NotEmpty(t, findings)
			assert.Equal(t, c.grade, findings[0].Grade, "%v", findings)
			assert.Contains(t, findings[0].Text, c.text)
		})
	}
	twice := `{"device":{"identifiers":["a"]},"origin":{"name":"o"},"components":{"c":` + goodSensor + `,"d":` + goodSensor + `}}`
	_, _, findings := fakehub.Document("p", topic, []byte(twice))
	require.Len(t, findings, 1)
	assert.Contains(t, findings[0].Text, `is that of "c" too`)
}

func TestStates(t *testing.T) {
	h := fakehub.New("p")
	h.Receive("p/device/a/config", []byte(device(goodSensor)), true)
	assert.Len(t, h.Invalid(), 1, "no state yet")
	for payload, valid := range map[string]bool{`{"x":1.5}`: true, `{"x":null}`: true, `{"x":"fast"}`: false, `{"y":1}`: false, `nonsense`: false} {
		h.Receive("s/t", []byte(payload), false)
		assert.Equal(t, valid, len(h.Invalid()) == 0, payload)
	}
}
