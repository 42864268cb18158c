package report

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"doorleaf/usage"
)

// WriteGeoJSON writes the sites of a season as points (RFC 7946: longitude before
// latitude, WGS 84, six decimals, which are a tenth of a metre), with the figures of
// the table of sites as properties, null where they are not known. Figures of fewer
// than coarse visits are held back; 0 holds nothing back.
func WriteGeoJSON(w io.Writer, s Season, coarse int) error {
	features := []any{}
	var box boundingBox
	for _, site := range s.reported() {
		at := [2]float64{sixDecimals(site.Longitude), sixDecimals(site.Latitude)}
		box.add(at)
		features = append(features, map[string]any{
			"type": "Feature", "id": site.Code, "properties": geoProperties(s.Name, site, coarse),
			"geometry": map[string]any{"type": "Point", "coordinates": at},
		})
	}
	collection := map[string]any{"type": "FeatureCollection", "features": features}
	if len(features) > 0 {
		collection["bbox"] = box.corners()
	}
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", "  ")
	if err := out.Encode(collection); err != nil {
		return fmt.Errorf("write geojson: %w", err)
	}
	return nil
}

func geoProperties(season string, site Site, coarse int) map[string]any {
	properties := map[string]any{"code": site.Code, "name": site.Name, "season": season}
	for i, c := range coarseFigures(site.Figures, int64(coarse)) {
		if d, ok := c.(usage.Date); ok {
			c = d.String()
		}
		properties[figureColumns[i].name] = c
	}
	return properties
}

func sixDecimals(degrees float64) float64 { return math.Round(degrees*1e6) / 1e6 }

// boundingBox gathers positions, each longitude and latitude.
type boundingBox struct{ longitudes, latitudes []float64 }

func (b *boundingBox) add(at [2]float64) {
	b.longitudes, b.latitudes = append(b.longitudes, at[0]), append(b.latitudes, at[1])
}

// corners are west, south, east and north of the narrowest box around the positions.
// One that lies over the antimeridian has its west beyond its east (RFC 7946, 5.2).
func (b *boundingBox) corners() [4]float64 {
	round := slices.Sorted(slices.Values(b.longitudes))
	last := len(round) - 1
	west, east, gap := round[0], round[last], round[0]+360-round[last]
	for i := range last {
		if g := round[i+1] - round[i]; g > gap {
			west, east, gap = round[i+1], round[i], g
		}
	}
	return [4]float64{west, slices.Min(b.latitudes), east, slices.Max(b.latitudes)}
}
