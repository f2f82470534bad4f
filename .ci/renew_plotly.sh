#!/usr/bin/env bash
# Renews the plotly bundle that a report's page carries: fetches one version, checks its hash, and writes bundle,
# licence and a note into portviz/report/vendor.
#   .ci/renew_plotly.sh                  the version named here, again
#   .ci/renew_plotly.sh VERSION SHA256   another one; SHA256 is that of plotly-gl3d.min.js
# Afterwards put version and hash below, and run tests/report/test_page_in_browser.py: the page's content policy and its
# script lean on what this bundle does.
set -euo pipefail
package=plotly.js-gl3d-dist-min
version=${1:-4.1.1}
expected=${2:-aab04dcd9c103a92b18723f8c837712fe820f325d0bcd2421e415e8124a75b9f}

vendor=$(cd "$(dirname "$0")/.." && pwd)/portviz/report/vendor
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cd "$scratch"
npm pack --silent "$package@$version" >/dev/null
tar -xzf ./*.tgz
bundle=package/plotly-gl3d.min.js
found=$(sha256sum "$bundle" | cut -d' ' -f1)
if [ "$found" != "$expected" ]; then
  echo "renew_plotly: $bundle of $package@$version has the hash $found, expected $expected; nothing is changed" >&2
  exit 1
fi
if grep -qiE '</script|<!--' "$bundle" || grep -q $'\r' "$bundle"; then
  echo "renew_plotly: $bundle can't stand inside a page as it is (it ends a script, or has carriage returns)" >&2
  exit 1
fi
install -m 644 "$bundle" "$vendor/plotly-gl3d.min.js"
install -m 644 package/LICENSE "$vendor/LICENSE"
cat >"$vendor/README.md" <<EOF
# Vendored

\`plotly-gl3d.min.js\` is the bundle "gl3d" of plotly.js $version as published in the npm package \`$package\`, unchanged:
MIT licence, see [LICENSE](LICENSE). A report's page carries it inside, so that the page needs no network.

    version: $version
    sha256: $found

\`.ci/renew_plotly.sh\` writes these files.
EOF
echo "written: plotly.js $version"
