package main

import (
	"fmt"
	"net/http"
	"time"
)

type healthCommand struct {
	URL string `arg:"" default:"http://127.0.0.1:8080" help:"Address of the server."`
}

func (healthCommand) Help() string { return "Example:\n  doorleaf health http://127.0.0.1:8080" }

func (cmd *healthCommand) Run(c *console) error {
	req, err := http.NewRequestWithContext(c.ctx, http.MethodGet, cmd.URL+"/healthz", nil)
	if err != nil {
		return err
	}
	client := http.Client{Timeout: 5 * time.Second}
	res, err := client.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("%s answers %s", cmd.URL, res.Status)
	}
	fmt.Fprintln(c.err, "well")
	return nil
}
