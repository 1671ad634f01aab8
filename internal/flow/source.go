package flow

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"

	"belay/internal/fault"
)

// Companions of every flow in a folder, and the folder of platforms.
const (
	cautionsFile = "cautions.yaml"
	glossaryFile = "glossary.yaml"
	causesFile   = "causes.yaml"
	platforms    = "platforms"
)

var companions = []string{cautionsFile, glossaryFile, causesFile}

// namePattern is what flows, stages, actions, cautions and platforms may be
// called. A name is also part of a file name.
var namePattern = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,39}$`)

// Bundle is all files of one flow, with line ends as "\n".
type Bundle struct {
	Flow  string            `json:"flow"`
	Files map[string]string `json:"files"` // text by name, relative to the folder
}

// Names returns the flows in a folder, in alphabetical order.
func Names(fsys fs.FS) ([]string, error) {
	files, err := fs.Glob(fsys, "*.yaml")
	if err != nil {
		return nil, fault.Wrap("flow: list", err)
	}
	names := []string{}
	for _, file := range files {
		if name := strings.TrimSuffix(file, ".yaml"); !slices.Contains(companions, file) && namePattern.MatchString(name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names, nil
}

// Load reads the flow called name with its companions from a folder, and
// proves it sound. A flow with faults gives a *Problems that names all of
// them; a flow that is not there gives a NotFound fault.
func Load(fsys fs.FS, name string) (*Graph, error) {
	_, g, err := pack(fsys, name)
	return g, err
}

// Pack returns all files of a sound flow as one document. The same files give
// the same bytes, and Hash of the graph is their SHA-256.
func Pack(fsys fs.FS, name string) ([]byte, error) {
	body, _, err := pack(fsys, name)
	return body, err
}

// Unpack returns the graph of a packed flow.
func Unpack(body []byte) (*Graph, error) {
	var b Bundle
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.DisallowUnknownFields()
	err := dec.Decode(&b)
	if err == nil && !bytes.Equal(b.bytes(), body) {
		err = errors.New("not in the form that Pack writes")
	}
	if err != nil {
		return nil, fault.New(fault.Corrupt, "The guide that is kept with this session cannot be read.",
			"Restore the session from a backup.").Because(err)
	}
	var problems Problems
	return b.graph(&problems)
}

func pack(fsys fs.FS, name string) ([]byte, *Graph, error) {
	var problems Problems
	b, err := readBundle(fsys, name, &problems)
	if err != nil {
		return nil, nil, err
	}
	g, err := b.graph(&problems)
	if err != nil {
		return nil, nil, err
	}
	return b.bytes(), g, nil
}

// bytes is the canonical form: JSON with sorted names.
func (b Bundle) bytes() []byte {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(b) // texts by name always encode
	return out.Bytes()
}

func (b Bundle) hash() string {
	sum := sha256.Sum256(b.bytes())
	return hex.EncodeToString(sum[:])
}

// readBundle reads the flow, its companions and the platform that it names.
func readBundle(fsys fs.FS, name string, problems *Problems) (Bundle, error) {
	b := Bundle{Flow: name, Files: map[string]string{}}
	main := name + ".yaml"
	if !namePattern.MatchString(name) || slices.Contains(companions, main) {
		return b, notFound(name)
	}
	if err := b.add(fsys, main, problems); err != nil {
		return b, err
	}
	if _, ok := b.Files[main]; !ok {
		return b, notFound(name)
	}
	for _, file := range companions {
		if err := b.add(fsys, file, problems); err != nil {
			return b, err
		}
	}
	if platform := b.platform(); namePattern.MatchString(platform) {
		return b, b.add(fsys, platformFile(platform), problems)
	}
	return b, nil
}

func platformFile(id string) string { return path.Join(platforms, id+".yaml") }

func notFound(name string) error {
	return fault.Newf(fault.NotFound, "Check the name and the folder.", "There is no flow called %q.", name)
}

// add reads one file. A file that is missing is left out: the check of the
// graph says so at the place that needs it.
func (b Bundle) add(fsys fs.FS, file string, problems *Problems) error {
	info, err := fs.Stat(fsys, file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fault.Wrap("flow: find "+file, err)
	}
	if info.Size() > 2*maxBytes {
		newDocument(file, "", problems).refuseAt(place{1, 1}, "Split the guide, or shorten it.",
			"The file has %d bytes; at most %d are read.", info.Size(), maxBytes)
		return problems.failed()
	}
	data, err := fs.ReadFile(fsys, file)
	if err != nil {
		return fault.Wrap("flow: read "+file, err)
	}
	text := strings.ToValidUTF8(strings.ReplaceAll(string(data), "\r\n", "\n"), "\uFFFD")
	b.Files[file] = text
	return nil
}

var platformLine = regexp.MustCompile(`(?m)^platform: *["']?([a-z0-9_-]+)`)

// platform is the platform that the flow names, found without parsing.
func (b Bundle) platform() string {
	if m := platformLine.FindStringSubmatch(b.Files[b.Flow+".yaml"]); m != nil {
		return m[1]
	}
	return ""
}
