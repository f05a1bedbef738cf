package web

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"
)

// raw sends bytes as they are and returns the code of the answer, 0 where the line was cut.
func (r *served) raw(request string) int {
	r.t.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
	if err != nil {
		r.t.Fatal(err)
	}
	defer c.Close()
	if err := c.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		r.t.Fatal(err)
	}
	go io.WriteString(c, request) // an answer may come before all is sent
	a, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return 0
	}
	defer a.Body.Close()
	return a.StatusCode
}

// What another program, page or name sends to this computer changes nothing and learns nothing. The stand is
// armed meanwhile, so that a start or a stop would show.
func TestHostileRequests(t *testing.T) {
	r := serveTable(t, still())
	a := r.watch(one)
	r.must(one, "/arm", "sweep", knees)
	a.waits(armed)
	here := strings.TrimPrefix(r.url, "http://")
	_, port, _ := net.SplitHostPort(here)
	form := url.Values{"page": {one}, tokenField: {r.srv.guard.token}}.Encode()
	bare := url.Values{"page": {one}}.Encode()
	get := func(path, host string, headers ...string) string {
		return "GET " + path + " HTTP/1.1\r\nHost: " + host + "\r\nConnection: close\r\n" + strings.Join(append(headers, "\r\n"), "\r\n")
	}
	post := func(path, body string, headers ...string) string {
		all := append([]string{"Host: " + here, "Content-Type: application/x-www-form-urlencoded"}, headers...)
		return fmt.Sprintf("POST %s HTTP/1.1\r\nContent-Length: %d\r\nConnection: close\r\n%s\r\n\r\n%s", path, len(body), strings.Join(all, "\r\n"), body)
	}
	origin := "Origin: " + r.url
	many := strings.Repeat("a", 4*bodyAtMost)
	for name, c := range map[string]struct {
		request string
		want    []int
	}{
		// A name of the outside that was bent to this computer (DNS rebinding), in its spellings.
		"another name":             {get("/", "evil.example:"+port), []int{403}},
		"our name with a dot":      {get("/", "localhost.:"+port), []int{403}},
		"our name in front":        {get("/", "localhost.evil.example:"+port), []int{403}},
		"no port":                  {get("/", "127.0.0.1"), []int{403}},
		"any address":              {get("/", "0.0.0.0:"+port), []int{403}},
		"another address":          {get("/", "127.0.0.2:"+port), []int{403}},
		"no host":                  {"GET / HTTP/1.0\r\n\r\n", []int{403}},
		"two hosts":                {get("/", here, "Host: evil.example"), []int{400}},
		"another name in the line": {get("http://evil.example/", here), []int{403}},
		"its stream":               {get("/live?page="+two, "evil.example:"+port), []int{403}},
		"its picture of ours":      {get("/look/icon.svg", here, "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: no-cors"), []int{403}},
		"its stream of ours":       {get("/live?page="+two, here, "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: cors", "Origin: http://evil.example"), []int{403}},
		// Deeds without what only our pages have, and as what changes nothing.
		"no origin":              {post("/start", form), []int{403}},
		"another origin":         {post("/start", form, "Origin: http://evil.example"), []int{403}},
		"origin of another port": {post("/start", form, "Origin: http://127.0.0.1:1"), []int{403}},
		"origin by https":        {post("/start", form, "Origin: https://"+here), []int{403}},
		"origin null":            {post("/start", form, "Origin: null"), []int{403}},
		"two origins":            {post("/start", form, "Origin: http://evil.example", origin), []int{403}},
		"no token":               {post("/start", bare, origin), []int{403}},
		"a token in the address": {post("/start?token=x&page="+one, bare, origin), []int{403}},
		"words as JSON":          {strings.Replace(post("/start", `{"page":"`+one+`"}`, origin), "application/x-www-form-urlencoded", "application/json", 1), []int{403}},
		"start by reading":       {get("/start?"+form, here), []int{405}},
		"stop by reading":        {get("/stop?"+form, here), []int{405}},
		"gone by reading":        {get("/gone?"+form, here), []int{405}},
		"put":                    {strings.Replace(post("/start", form, origin), "POST", "PUT", 1), []int{405}},
		"override":               {post("/", form, origin, "X-HTTP-Method-Override: GET"), []int{405}},
		// Too much: 0 where the line was cut while it was still being sent.
		"a long form":      {post("/start", form+"&note="+many, origin), []int{403, 413, 0}},
		"a long form, bad": {post("/start", many, "Origin: http://evil.example"), []int{403, 0}},
		"long files": {strings.Replace(post("/start", "--b\r\nContent-Disposition: form-data; name=\"f\"; filename=\"f\"\r\n\r\n"+many+"\r\n--b--\r\n", origin),
			"application/x-www-form-urlencoded", "multipart/form-data; boundary=b", 1), []int{403, 413, 0}},
		"long headers":   {get("/", here, "X-Long: "+many), []int{431, 0}},
		"a long address": {get("/?"+many, here), []int{431, 0}},
		"a short mark":   {get("/live?page=a", here), []int{400}},
		"a long mark":    {get("/live?page="+strings.Repeat("a", 65), here), []int{400}},
		// Paths that want out.
		"up":                  {get("/look/../pages/bench.html", here), []int{301, 307, 404}},
		"up, written another": {get("/look/%2e%2e/pages/bench.html", here), []int{301, 307, 404}},
		"up, with its stroke": {get("/look/..%2fpages%2fbench.html", here), []int{404}},
		"a folder's list":     {get("/look/../", here), []int{301, 307, 404}},
		"a file of pages":     {get("/look/pages/bench.html", here), []int{404}},
	} {
		got := r.raw(c.request)
		fine := false
		for _, w := range c.want {
			fine = fine || got == w
		}
		if !fine {
			t.Errorf("%s: %d, want %v", name, got, c.want)
		}
	}
	r.didOnly()
	if n := r.pages(); n != 1 {
		t.Errorf("%d pages watch", n)
	}
	// It is still armed by the page that armed it, which may begin.
	r.must(one, "/start")
	a.waits(moving)
	r.must(one, "/stop")
}

// A body that does not come is not waited for, wherever it was sent to; a stream that has lasted as long goes on.
func TestBodyThatDoesNotCome(t *testing.T) {
	// A clock that is behind makes the deadlines of reading come early.
	r := serveTable(t, func() time.Time { return time.Now().Add(300*time.Millisecond - bodyWithin) })
	here := strings.TrimPrefix(r.url, "http://")
	for name, c := range map[string]struct{ head, body string }{
		"of a form":             {"POST /stop HTTP/1.1\r\nHost: " + here + "\r\nContent-Type: application/x-www-form-urlencoded\r\nOrigin: " + r.url + "\r\nContent-Length: 100\r\n\r\n", "page="},
		"of a form by its mark": {"POST /stop HTTP/1.1\r\nHost: " + here + "\r\nContent-Type: application/x-www-form-urlencoded\r\nOrigin: " + r.url + "\r\n" + tokenHeader + ": " + r.srv.guard.token + "\r\nContent-Length: 100\r\n\r\n", "page="},
		"in pieces":             {"POST /stop HTTP/1.1\r\nHost: " + here + "\r\nContent-Type: application/x-www-form-urlencoded\r\nOrigin: " + r.url + "\r\nTransfer-Encoding: chunked\r\n\r\n", "5\r\npage="},
		"of what reads":         {"GET /look/icon.svg HTTP/1.1\r\nHost: " + here + "\r\nContent-Length: 100\r\n\r\n", "page="},
		"of another name":       {"POST /stop HTTP/1.1\r\nHost: evil.example\r\nContent-Length: 100\r\n\r\n", "page="},
	} {
		t.Run(name, func(t *testing.T) {
			line, err := net.Dial("tcp", here)
			if err != nil {
				t.Fatal(err)
			}
			defer line.Close()
			if err := line.SetDeadline(time.Now().Add(20 * time.Second)); err != nil { // far from where it should end
				t.Fatal(err)
			}
			if _, err := io.WriteString(line, c.head+c.body); err != nil {
				t.Fatal(err)
			}
			if _, err := io.Copy(io.Discard, line); errors.Is(err, os.ErrDeadlineExceeded) {
				t.Error("it is still waited for")
			}
		})
	}
	a := r.watch(one)
	a.waits(limp)
	time.Sleep(600 * time.Millisecond) // the longer the better
	r.must(one, "/arm", "sweep", knees)
	a.waits(armed)
}

// No answer may be framed, guessed at, kept, or run what is not a file of ours.
func TestHeadersOfEveryAnswer(t *testing.T) {
	r := serveTable(t, still())
	for _, path := range []string{"/look/bench.js", "/look/none", "/none"} {
		a, err := http.Get(r.url + path)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		policy := a.Header.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			if !strings.Contains(policy, want) {
				t.Errorf("%s: the policy lacks %s: %s", path, want, policy)
			}
		}
		if strings.Contains(policy, "unsafe") || a.Header.Get("X-Content-Type-Options") != "nosniff" || a.Header.Get("Cross-Origin-Resource-Policy") != "same-origin" ||
			a.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: %v", path, a.Header)
		}
	}
}
