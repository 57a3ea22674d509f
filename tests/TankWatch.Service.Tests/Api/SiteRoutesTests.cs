using System.Net;
using System.Text.Json;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

public sealed class SiteRoutesTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task A_site_is_added_read_back_as_it_came_replaced_and_removed()
    {
        var file = SampleSite.Json("birch-row", "fu-birch");
        Assert.Equal(HttpStatusCode.Created, (await PutAsync("birch-row", file)).Status);
        var read = await service.GetAsync("/api/v1/sites/birch-row");
        Assert.Equal((HttpStatusCode.OK, "application/json", file), (read.Status, read.MediaType, read.Text));
        Assert.Equal("birch-row", (await service.GetJsonAsync("/api/v1/sites/birch-row/now")).GetProperty("site").GetString());

        var renamed = SampleSite.Json("birch-row", "fu-birch", "Birch Terrace");
        Assert.Equal(HttpStatusCode.OK, (await PutAsync("birch-row", renamed)).Status);
        Assert.Equal("Birch Terrace", (await service.GetJsonAsync("/api/v1/sites/birch-row")).GetProperty("name").GetString());

        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("DELETE", "/api/v1/sites/birch-row", service.Key)).Status);
        (await service.GetAsync("/api/v1/sites/birch-row")).IsProblem(HttpStatusCode.NotFound);
        (await service.GetAsync("/api/v1/sites/birch-row/now")).IsProblem(HttpStatusCode.NotFound);
        (await service.SendAsync("DELETE", "/api/v1/sites/birch-row", service.Key)).IsProblem(HttpStatusCode.NotFound);
    }

    [Fact]
    public async Task A_file_with_faults_is_refused_whole_with_each_by_its_path()
    {
        var faulty = SampleSite.Json("cedar-row", "fu-cedar")
            .Replace("\"capacityLitres\": 6000", "\"capacityLitres\": -1", StringComparison.Ordinal)
            .Replace("\"role\": \"sump\"", "\"role\": \"pond\"", StringComparison.Ordinal);
        var problem = (await PutAsync("cedar-row", faulty)).IsProblem(HttpStatusCode.BadRequest);
        var paths = problem.Json.GetProperty("faults").EnumerateArray().Select(fault => fault.GetProperty("path").GetString()).ToList();
        Assert.Contains("$.tanks[0].role", paths);
        Assert.Contains("$.tanks[1].capacityLitres", paths);
        Assert.All(problem.Json.GetProperty("faults").EnumerateArray(), fault => Assert.NotEqual("", fault.GetProperty("message").GetString()));
        (await service.GetAsync("/api/v1/sites/cedar-row")).IsProblem(HttpStatusCode.NotFound);
    }

    [Theory]
    [InlineData("")]
    [InlineData("{")]
    [InlineData("[]")]
    [InlineData("null")]
    public async Task What_is_no_site_file_is_refused(string body) =>
        (await PutAsync("any", body)).IsProblem(HttpStatusCode.BadRequest);

    [Fact]
    public async Task A_file_of_another_id_than_the_address_is_refused() =>
        (await PutAsync("elm-row", SampleSite.Json("oak-row", "fu-oak"))).IsProblem(HttpStatusCode.BadRequest);

    [Fact]
    public async Task An_id_that_can_be_none_does_not_exist() =>
        (await PutAsync("a%20b", SampleSite.Json("a b", "fu-ab"))).IsProblem(HttpStatusCode.NotFound);

    [Fact]
    public async Task A_unit_of_another_site_is_a_conflict()
    {
        var owner = await service.AddSiteAsync();
        var conflict = (await PutAsync("fir-row", SampleSite.Json("fir-row", owner.Unit))).IsProblem(HttpStatusCode.Conflict);
        Assert.Contains(owner.Unit, conflict.Text, StringComparison.Ordinal);
        (await service.GetAsync("/api/v1/sites/fir-row")).IsProblem(HttpStatusCode.NotFound);
    }

    [Fact]
    public async Task A_body_larger_than_a_site_file_may_be_is_refused() =>
        (await PutAsync("any", new string(' ', 1024 * 1024 + 1))).IsProblem(HttpStatusCode.RequestEntityTooLarge);

    [Fact]
    public async Task The_list_has_whole_site_files_and_the_worst_first()
    {
        var fine = await service.AddSiteAsync();
        var worst = await service.AddSiteAsync();
        await worst.RaiseAsync();
        var items = (await service.GetJsonAsync("/api/v1/sites")).GetProperty("items").EnumerateArray().ToList();
        Assert.Equal(worst.Id, items[0].GetProperty("id").GetString());
        var listed = items.Single(item => item.GetProperty("id").GetString() == fine.Id);
        Assert.True(JsonElement.DeepEquals(JsonSerializer.Deserialize<JsonElement>(SampleSite.Json(fine.Id, fine.Unit)), listed));
    }

    private Task<Answer> PutAsync(string id, string file) => service.SendAsync("PUT", $"/api/v1/sites/{id}", service.Key, file);
}
