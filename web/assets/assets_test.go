package assets

import (
	"bytes"
	"errors"
	"io/fs"
	"strings"
	"testing"
)

func TestReadGivesEveryAsset(t *testing.T) {
	for _, name := range append([]string{ServerScript, BrowserScript, Licences}, Fonts...) {
		data, err := Read(name)
		if err != nil {
			t.Fatal(err)
		}
		if len(data) == 0 {
			t.Errorf("Read(%s) is empty", name)
		}
	}
}

func TestReadOfAnUnknownNameIsNotExist(t *testing.T) {
	for _, name := range []string{"absent.js", "../assets.go", ""} {
		if _, err := Read(name); err == nil {
			t.Errorf("Read(%q) = no error, want one", name)
		}
	}
	if _, err := Read("absent.js"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("Read(absent.js) = %v, want fs.ErrNotExist; %v", err, ErrNotBuilt)
	}
}

func TestFontsAreWoff2AndLight(t *testing.T) {
	const limit = 80_000 // bytes, all faces together: the design's page budget
	sum := 0
	for _, name := range Fonts {
		data, err := Read(name)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.HasPrefix(data, []byte("wOF2")) { // signature: W3C WOFF 2.0, section 4
			t.Errorf("%s does not begin with the WOFF2 signature", name)
		}
		sum += len(data)
	}
	if sum > limit {
		t.Errorf("fonts together = %d bytes, want at most %d", sum, limit)
	}
}

func TestLicencesCoverWhatIsBundled(t *testing.T) {
	data, err := Read(Licences)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"echarts", "zrender", "tslib", "literata", "atkinson-hyperlegible-next"} {
		if !strings.Contains(string(data), name+" ") {
			t.Errorf("%s does not name %s", Licences, name)
		}
	}
}
