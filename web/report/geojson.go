package report

import (
	"encoding/json"
	"fmt"
	"io"

	"doorleaf/usage"
)

// WriteGeoJSON writes the sites of a season as points (RFC 7946: longitude before
// latitude, WGS 84), with the figures of the table of sites as properties, null
// where they are not known. Figures of fewer than coarse visits are held back; 0
// holds nothing back.
func WriteGeoJSON(w io.Writer, s Season, coarse int) error {
	features := []any{}
	for _, site := range s.reported() {
		properties := map[string]any{"code": site.Code, "name": site.Name, "season": s.Name}
		for i, c := range coarseFigures(site.Figures, int64(coarse)) {
			if d, ok := c.(usage.Date); ok {
				c = d.String()
			}
			properties[figureColumns[i].name] = c
		}
		features = append(features, map[string]any{
			"type": "Feature", "id": site.Code, "properties": properties,
			"geometry": map[string]any{"type": "Point", "coordinates": []float64{site.Longitude, site.Latitude}},
		})
	}
	out := json.NewEncoder(w)
	out.SetIndent("", "  ")
	if err := out.Encode(map[string]any{"type": "FeatureCollection", "features": features}); err != nil {
		return fmt.Errorf("write geojson: %w", err)
	}
	return nil
}
