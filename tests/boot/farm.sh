#!/usr/bin/env bash
# Prints the configuration of the farm under test: twenty rooms, no forecast service, and a broker that wants a password.
set -euo pipefail

cat <<TEXT
site: {name: frosthollow, latitude: 61.35, longitude: 25.28, elevation: 420 m, time-zone: UTC}
broker: {host: 127.0.0.1, user: mistwright, password-credential: broker-password}
forecast: {service: none}
http: {listen: "127.0.0.1:9417"}
outdoors:
  sensors:
    temperature: {topic: farm/yard, pointer: /t, unit: "°C"}
    relative-humidity: {topic: farm/yard, pointer: /rh, unit: "%"}
rooms:
TEXT
for room in room-{01..20}; do
    cat <<TEXT
  $room:
    volume: 90 m³
    crop: {species: oyster, stage: fruiting, substrate: 1000 kg}
    fan: {capacity: 800 m³/h, floor: 1 /h, usual: 5 /h}
    humidifier: {method: ultrasonic, output: 9 L/h, water: 150 L}
    sensors:
      temperature: {topic: farm/$room, pointer: /t, unit: "°C"}
      relative-humidity: {topic: farm/$room, pointer: /rh, unit: "%"}
      carbon-dioxide: {topic: farm/$room, pointer: /co2, unit: ppm}
TEXT
done
